"""A key replaced while the page is being served: the old one is never used again."""

import asyncio
import ssl
from pathlib import Path

import pytest

from groundside.browser.access import BrowserAccess
from groundside.browser.server import DashboardServer, serving
from onboard.crew.keys import fingerprint, identity_path, make_identity, own_fingerprint
from tests.groundside.browser.open_page import tls
from tests.onboard.crew.doors import paired_folder


async def served_fingerprint(port: int) -> bytes:
    """Return the fingerprint that a new browser sees."""
    _, writer = await asyncio.open_connection("127.0.0.1", port, ssl=tls(), server_hostname="")
    certificate = writer.get_extra_info("ssl_object").getpeercert(binary_form=True)
    writer.transport.abort()
    return fingerprint(certificate)


def test_a_new_key_is_used_and_reported_at_once(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    first, changes = own_fingerprint(folder), []

    async def scene() -> None:
        access = BrowserAccess(folder, on_key_change=lambda: changes.append("changed"))
        async with serving(DashboardServer([], 4, access), "127.0.0.1", 0) as port:
            assert await served_fingerprint(port) == first
            assert changes == []
            identity_path(folder).unlink()
            with pytest.raises((OSError, ssl.SSLError)):
                await served_fingerprint(port)
            make_identity(folder)
            assert await served_fingerprint(port) == own_fingerprint(folder) != first
            identity_path(folder).write_text("no key at all")
            with pytest.raises((OSError, ssl.SSLError)):
                await served_fingerprint(port)

    asyncio.run(scene())
    assert changes == ["changed"] * 3
