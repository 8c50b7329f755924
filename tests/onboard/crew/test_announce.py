"""Announcing on real sockets: only the start of the craft's fingerprint is revealed."""

import asyncio
import builtins
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from groundside.connection.discovery import AnnouncedDaemon, announced_daemons
from onboard.crew.announce import Announcing
from onboard.crew.keys import own_fingerprint
from tests.onboard.crew.doors import paired_folder
from tests.own_service import use_own_service


@pytest.fixture(autouse=True)
def own_service(monkeypatch: pytest.MonkeyPatch) -> str:
    return use_own_service(monkeypatch)


def search_until(
    wanted: Callable[[tuple[AnnouncedDaemon, ...]], bool],
) -> tuple[AnnouncedDaemon, ...]:
    """Search, longer each time, until the result meets a condition."""
    found: tuple[AnnouncedDaemon, ...] = ()
    for listen_s in (2.0, 8.0, 32.0):
        if wanted(found := asyncio.run(announced_daemons(listen_s))):
            break
    return found


@pytest.mark.slow
def test_it_is_discovered_and_reveals_no_name(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    name = own_fingerprint(folder).hex()[:8]
    announcing = Announcing(folder, "192.0.2.7", 27222)
    try:
        try:
            announcing.announce()
            found = search_until(lambda found: found != ())
        except OSError as problem:
            pytest.skip(f"no multicast here: {problem}")
        assert found == (AnnouncedDaemon(f"wattwake-{name}", "192.0.2.7", 27222, name),)
    finally:
        announcing.withdraw()
    assert search_until(lambda found: found == ()) == ()


def test_this_boards_own_address_is_not_announced(tmp_path: Path) -> None:
    announcing = Announcing(paired_folder(tmp_path), "127.0.0.1", 27222)
    asyncio.run(announcing.run())  # ends at once: there is nothing to announce
    assert announcing.announced is None


@pytest.mark.parametrize(
    ("problem", "expected"),
    [
        (ImportError("zeroconf"), "pip install 'wattwake[pair]'"),
        (OSError(19, "No such device"), "No such device"),
    ],
)
def test_a_failure_is_logged_once(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    problem: Exception,
    expected: str,
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name.startswith("zeroconf"):
            raise problem
        return real(name, *rest, **more)

    folder = paired_folder(tmp_path)
    monkeypatch.setattr(builtins, "__import__", without)
    with caplog.at_level(logging.WARNING, "wattwake"):
        asyncio.run(Announcing(folder, "192.0.2.7", 27222).run())
    assert len(caplog.records) == 1
    assert expected in caplog.text
