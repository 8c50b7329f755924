"""The viewer's end of the encrypted feed: the key is checked before anything is sent."""

import asyncio
import contextlib
import datetime
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from groundside.connection.commands import setting
from groundside.connection.crafts import Craft
from groundside.connection.crew_client import (
    KeyMismatchError,
    answers_at,
    join,
    own_name,
    pair_with,
)
from groundside.connection.feed_client import FeedClient
from groundside.connection.resolve import find_craft_at
from groundside.connection.source import Update
from onboard.contract.codec import as_line
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_snapshot
from onboard.crew import door as door_module
from onboard.crew.invitation import PIN_BYTES, Invitation
from onboard.crew.keys import identity_path, own_fingerprint, server_context
from onboard.crew.members import CrewBook, good_name
from onboard.errors import FeedError
from tests.onboard.crew.doors import Open, open_door, paired_folder
from tests.patience import PATIENCE_S
from tests.play import play

NOTHING = unknown_snapshot(Unknown(Reason.NO_AUTOPILOT), "a test")
SNAPSHOT = as_line(NOTHING)


@pytest.fixture(autouse=True)
def short_poll(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door_module, "POLL_S", 0.02)


def invited(folder: Path, there: Open, role: str = "crew", name: str = "") -> Invitation:
    code = CrewBook(folder).invite(role, name)
    return Invitation(("127.0.0.1",), there.port, own_fingerprint(folder)[:PIN_BYTES], code)


@contextlib.asynccontextmanager
async def impostor(folder: Path, port: int = 0):  # type: ignore[no-untyped-def]
    """Run a server with another key; yield its port and all data received."""
    received = bytearray()

    async def listen(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(100):
                received.extend(data)
        writer.transport.abort()

    server = await asyncio.start_server(
        listen, "127.0.0.1", port, ssl=server_context(folder), ssl_handshake_timeout=PATIENCE_S
    )
    try:
        yield server.sockets[0].getsockname()[1], received
    finally:
        server.close()
        await asyncio.sleep(0.05)


def test_a_code_is_exchanged_for_a_token(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        async with open_door(folder) as there:
            craft = await pair_with(invited(folder, there, "viewer"), "tablet")
            assert (craft.name, craft.role, craft.hosts) == ("skiff", "viewer", ("127.0.0.1",))
            assert craft.fingerprint == own_fingerprint(folder).hex()
            feed = await join(craft)
            assert b'"hello"' in feed.first_line
            feed.writer.transport.abort()
            assert [one.name for one in CrewBook(folder).read().members] == ["tablet"]

    play(scene)


def test_a_pairing_text_works_once(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)

    async def scene() -> None:
        async with open_door(folder) as there:
            invitation = invited(folder, there)
            await pair_with(invitation, "tablet")
            with pytest.raises(FeedError, match="used, revoked or has lapsed"):
                await pair_with(invitation, "tablet")
            revoked = invited(folder, there, name="guest")
            CrewBook(folder).revoke("guest")
            with pytest.raises(FeedError, match="used, revoked or has lapsed"):
                await pair_with(revoked, "tablet")

    play(scene)


def test_nothing_is_sent_to_a_peer_with_another_key(tmp_path: Path) -> None:
    folder, other = paired_folder(tmp_path), paired_folder(tmp_path / "other")

    async def scene() -> None:
        async with impostor(other) as (port, received):
            pin = own_fingerprint(folder)
            craft = Craft("skiff", pin.hex(), "secret-token", "crew", ("127.0.0.1",), port)
            with pytest.raises(
                KeyMismatchError, match=r"is not skiff: its key is another"
            ) as problem:
                await join(craft)
            assert "\n" not in str(problem.value)
            invitation = Invitation(("127.0.0.1",), port, pin[:PIN_BYTES], b"secret")
            with pytest.raises(KeyMismatchError, match="pair again on it"):
                await pair_with(invitation, "tablet")
            assert not await answers_at(craft, "127.0.0.1", port, 2.0)
            await asyncio.sleep(0.1)
            assert received == b""
            right = replace(craft, fingerprint=own_fingerprint(other).hex())
            assert await answers_at(right, "127.0.0.1", port, 2.0)

    play(scene)


@pytest.mark.parametrize("years", [(2000, 2001), (9000, 9001)])
def test_the_dates_of_a_certificate_are_ignored(tmp_path: Path, years: tuple[int, int]) -> None:
    folder = paired_folder(tmp_path)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "x")])
    begin, end = (datetime.datetime(year, 1, 1, tzinfo=datetime.UTC) for year in years)
    certificate = (
        x509.CertificateBuilder(name, name, key.public_key(), 1, begin, end)
        .sign(key, hashes.SHA256())
        .public_bytes(serialization.Encoding.PEM)
    )
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    identity_path(folder).write_bytes(private + certificate)

    async def scene() -> None:
        async with open_door(folder) as there:
            craft = await pair_with(invited(folder, there), "tablet")
            feed = await join(craft)
            feed.writer.transport.abort()

    play(scene)


def test_of_several_addresses_the_one_with_the_key_is_used(tmp_path: Path) -> None:
    folder, other = paired_folder(tmp_path), paired_folder(tmp_path / "other")

    async def scene() -> None:
        async with open_door(folder) as there, impostor(other) as (port, _):
            craft = await pair_with(invited(folder, there), "tablet")
            craft = replace(craft, hosts=("127.0.0.9", "127.0.0.1"))
            feed = await join(craft)  # nothing listens on the first
            assert feed.host == "127.0.0.1"
            feed.writer.transport.abort()
            with pytest.raises(KeyMismatchError):
                await join(replace(craft, port=port))

    play(scene)


def test_a_moved_craft_is_recognized_by_its_key(tmp_path: Path) -> None:
    folder, other = paired_folder(tmp_path), paired_folder(tmp_path / "other")

    async def scene() -> None:
        async with open_door(folder) as there, impostor(other) as (port, received):
            craft = await pair_with(invited(folder, there), "tablet")
            moved = replace(craft, hosts=("192.0.2.7",))
            stranger = replace(craft, fingerprint="00" * 32, name="stranger")
            for asked in (None, there.port):
                found = await find_craft_at((stranger, moved), "127.0.0.1", asked)
                assert found == replace(craft, hosts=("127.0.0.1", "192.0.2.7"))
            assert await find_craft_at((moved,), "127.0.0.1", port) is None
            assert received == b""

    play(scene)


def test_an_unreachable_craft_is_an_error(tmp_path: Path) -> None:
    async def scene() -> None:
        invitation = Invitation(("127.0.0.1",), 1, bytes(16), bytes(6))
        with pytest.raises(FeedError, match=r"no craft answers at 127\.0\.0\.1:1"):
            await pair_with(invitation, "tablet")

    play(scene)


def test_a_revoked_viewer_gets_a_sentence_instead_of_the_feed(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    seen: list[Update] = []

    async def scene() -> None:
        async with open_door(folder) as there:
            there.feed.publish(SNAPSHOT, 0.0)
            craft = await pair_with(invited(folder, there), "tablet")

            async def soon(_: float) -> None:
                await asyncio.sleep(0.02)

            client = FeedClient("127.0.0.1", there.port, sleep=soon, connect=lambda: join(craft))
            stream = client.stream()
            async for update in stream:
                seen.append(update)
                if update.snapshot is not None:
                    command = setting("target_speed_mps", 2.0)
                    assert (await client.send(command)).ok is True
                    CrewBook(folder).revoke("tablet")
                elif update.problem is not None and "revoked" in update.problem:
                    break
            await stream.aclose()

    play(scene)
    assert seen[0].snapshot == NOTHING
    assert "skiff does not let this machine in" in (seen[-1].problem or "")


def test_this_machine_s_own_name_is_valid() -> None:
    assert good_name(own_name())
