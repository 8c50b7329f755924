"""Every kind of link gives the same bytes, and says in a line what is wrong with it."""

import os
import socket
import threading
import tty
from pathlib import Path

import pytest

from onboard.errors import LinkEndedError, LinkError, UsageError
from onboard.telemetry.links.opening import open_link
from onboard.telemetry.links.udp import UdpLink
from tests.small_streams import Sender, records


def stream() -> list[bytes]:
    sender = Sender()
    return [frame for n in range(3) for frame in sender.second(n, 50, 10, 2)]


def read_all(link, count: int) -> bytes:
    got = b""
    for _ in range(200):
        if len(got) >= count:
            break
        got += link.read(0.05)
    return got


def test_udp() -> None:
    frames = stream()
    link = open_link("udpin:127.0.0.1:0", 57600)
    port = int(link.name.rpartition(":")[2])
    assert link.read(0.0) == b""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outlet:
        for frame in frames:
            outlet.sendto(frame, ("127.0.0.1", port))
        assert read_all(link, sum(map(len, frames))) == b"".join(frames)
    link.close()


def test_tcp_and_its_end() -> None:
    data = b"".join(stream())
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]

        def serve() -> None:
            connection, _ = server.accept()
            with connection:
                connection.sendall(data)

        thread = threading.Thread(target=serve)
        thread.start()
        link = open_link(f"tcp:127.0.0.1:{port}", 57600)
        assert read_all(link, len(data)) == data
        with pytest.raises(LinkError, match="closed the connection"):
            link.read(1.0)
        thread.join()
        link.close()


def test_serial_over_a_pty_and_its_unplugging() -> None:
    data = b"".join(stream())
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    link = open_link(os.ttyname(theirs), 115200)
    os.write(ours, data)
    assert read_all(link, len(data)) == data
    assert link.read(0.0) == b""
    os.close(theirs)
    os.close(ours)
    with pytest.raises(LinkError):
        link.read(0.1)
    link.close()


def test_file_gives_its_frames_and_ends(tmp_path: Path) -> None:
    frames = stream()
    path = tmp_path / "ride.tlog"
    path.write_bytes(records(frames, step_us=400))
    link = open_link(f"file:{path}", 57600)
    assert read_all(link, sum(map(len, frames))) == b"".join(frames)
    with pytest.raises(LinkEndedError, match="played to its end"):
        link.read(0.1)


@pytest.mark.parametrize(
    ("connection", "error", "text"),
    [
        ("/dev/no-such-port", LinkError, "no such serial device"),
        ("/dev/null", LinkError, "cannot be used as a serial port"),
        ("file:/no/such/file", LinkError, "no such file"),
        ("nonsense", UsageError, "expected udpin:HOST:PORT"),
        ("udpin:14550", UsageError, "expected udpin:HOST:PORT"),
        ("tcp:host:99999", UsageError, "expected udpin:HOST:PORT"),
        ("udpin:203.0.113.1:9", LinkError, "cannot listen there"),
        ("tcp:a..b:5760", UsageError, "is no host name"),
    ],
)
def test_what_is_wrong_is_said(connection: str, error: type[Exception], text: str) -> None:
    with pytest.raises(error, match=text):
        open_link(connection, 57600)


def test_tcp_refused_is_said() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(LinkError, match="refused"):
        open_link(f"tcp:127.0.0.1:{port}", 57600)


def test_a_port_in_use_is_said() -> None:
    first = UdpLink("127.0.0.1", 0)
    port = int(first.name.rpartition(":")[2])
    with pytest.raises(LinkError, match="in use"):
        UdpLink("127.0.0.1", port)
    first.close()
