"""The notify protocol against real datagram sockets.

Source: systemd's man pages sd_notify(3) and sd_watchdog_enabled(3), version 252.
"""

import os
import secrets
import socket

import pytest

from onboard.daemon import notify
from tests.patience import PATIENCE_S


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path, monkeypatch):
    """Return a service manager's socket, by path or in the abstract namespace."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as inlet:
        if request.param == "path":
            name = address = str(tmp_path / "notify")
        else:
            token = secrets.token_hex(8)
            name, address = f"@wattwake-{token}", f"\0wattwake-{token}"
        inlet.bind(address)
        inlet.settimeout(PATIENCE_S)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield inlet


@pytest.mark.parametrize(
    ("call", "expected"),
    [
        (notify.ready, b"READY=1"),
        (
            lambda: notify.ready("feed on 127.0.0.1:27220"),
            b"READY=1\nSTATUS=feed on 127.0.0.1:27220",
        ),
        (notify.stopping, b"STOPPING=1"),
        (notify.watchdog, b"WATCHDOG=1"),
        (lambda: notify.status("380 messages/s, 12 °C"), "STATUS=380 messages/s, 12 °C".encode()),
    ],
)
def test_each_notification_is_one_datagram(manager, call, expected: bytes) -> None:
    assert call() is True
    assert manager.recv(4096) == expected


def test_a_reload_carries_its_time(manager) -> None:
    assert notify.reloading()
    first, second = manager.recv(4096).split(b"\n")
    assert first == b"RELOADING=1"
    assert second.startswith(b"MONOTONIC_USEC=")
    assert int(second.partition(b"=")[2]) > 0


def test_a_status_cannot_smuggle_in_another_statement(manager) -> None:
    assert notify.status("bad name\nSTOPPING=1\r\nMAINPID=1" + "x" * 1000)
    datagram = manager.recv(4096)
    assert b"\n" not in datagram
    assert datagram.startswith(b"STATUS=bad name STOPPING=1 MAINPID=1xxx")
    assert len(datagram) == len("STATUS=") + 200


def test_without_a_manager_nothing_happens(monkeypatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert notify.ready() is False
    assert notify.watchdog() is False


@pytest.mark.parametrize("address", ["", "vsock:2:1", "/nosuch/socket", "/" + "x" * 500, "@gone"])
def test_an_unreachable_address_is_not_an_error(monkeypatch, address: str) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    assert notify.status("still here") is False


def test_a_manager_that_does_not_read_delays_nothing(manager, monkeypatch) -> None:
    monkeypatch.setattr(notify, "WAIT_S", 0.02)
    sent = 0
    while notify.watchdog():
        sent += 1
        assert sent < 100_000, "the queue of a datagram socket has no end"
    assert sent > 0
    assert manager.recv(4096) == b"WATCHDOG=1"
    assert notify.watchdog()


@pytest.mark.parametrize(
    ("waits_us", "for_whom", "expected"),
    [
        ("20000000", None, 10.0),
        ("20000000", "this process", 10.0),
        ("20000000", "1", None),
        ("0", None, None),
        ("", None, None),
        ("soon", None, None),
        ("-5", None, None),
        (None, None, None),
    ],
)
def test_the_watchdog_is_due_at_half_its_timeout(monkeypatch, waits_us, for_whom, expected) -> None:
    if for_whom == "this process":  # its number in a test's name would differ between workers
        for_whom = str(os.getpid())
    for name, value in (("WATCHDOG_USEC", waits_us), ("WATCHDOG_PID", for_whom)):
        if value is None:
            monkeypatch.delenv(name, raising=False)
        else:
            monkeypatch.setenv(name, value)
    assert notify.watchdog_every_s() == expected
