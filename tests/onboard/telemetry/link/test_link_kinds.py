"""Every kind of link returns the same bytes, sends without waiting, and reports errors."""

import errno
import os
import select
import socket
import threading
import time
import tty
from pathlib import Path

import pytest

from onboard.errors import LinkEndedError, LinkError, UsageError
from onboard.telemetry.link import tcp
from onboard.telemetry.link.opening import open_link
from onboard.telemetry.link.udp import UdpLink
from onboard.telemetry.mavlink import packing
from tests.patience import PATIENCE_S
from tests.small_streams import Sender, records


def stream() -> list[bytes]:
    sender = Sender()
    return [frame for n in range(3) for frame in sender.second(n, 50, 10, 2)]


def read_all(link, count: int) -> bytes:
    got = b""
    for _ in range(200):
        if len(got) >= count:
            break
        got += b"".join(part.data for part in link.read(0.05))
    return got


def test_udp() -> None:
    frames = stream()
    link = open_link("udpin:127.0.0.1:0", 57600)
    port = int(link.name.rpartition(":")[2])
    assert link.read(0.0) == []
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
    assert link.read(0.0) == []
    os.close(theirs)
    os.close(ours)
    with pytest.raises(LinkError):
        link.read(0.1)
    link.close()


def test_a_file_gives_its_frames_and_ends(tmp_path: Path) -> None:
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
def test_errors_are_reported(connection: str, error: type[Exception], text: str) -> None:
    with pytest.raises(error, match=text):
        open_link(connection, 57600)


def test_a_refused_tcp_connection_is_reported() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(LinkError, match="refused"):
        open_link(f"tcp:127.0.0.1:{port}", 57600)


def test_a_port_in_use_is_reported() -> None:
    first = UdpLink("127.0.0.1", 0)
    port = int(first.name.rpartition(":")[2])
    with pytest.raises(LinkError, match="in use"):
        UdpLink("127.0.0.1", port)
    first.close()


# A request, as it may be sent.
REQUEST = packing.pack(*packing.message_interval(1, 1, 30, 4.0), 0, 1, 191)
FULL_BYTES = 64 << 20


def fill(link) -> int:
    """Write until no more bytes go; return how many were written."""
    written = 0
    while not link.unsent_bytes:
        link.write(REQUEST)
        written += len(REQUEST)
        assert written < FULL_BYTES
    return written


def read_end(end: int, count: int) -> bytes:
    """Return the bytes at the other end of a pty, which may come in parts."""
    got = b""
    while len(got) < count and select.select([end], [], [], 5)[0]:
        got += os.read(end, 65_536)
    return got


def at_once(act) -> float:
    start = time.monotonic()
    act()
    return time.monotonic() - start


@pytest.fixture
def pty(tmp_path: Path):
    """Return the test's end, and a persistent name of the other end as in /dev/serial/by-id/."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    name = tmp_path / "usb-Serial_0001-if00-port0"
    name.symlink_to(os.ttyname(theirs))
    yield ours, name
    os.close(theirs)
    os.close(ours)


def test_serial_by_a_persistent_name_both_ways(pty) -> None:
    ours, name = pty
    link = open_link(str(name), 57600)
    assert link.name == str(name)
    os.write(ours, b"there")
    assert read_all(link, 5) == b"there"
    link.write(REQUEST)
    link.write(REQUEST)
    assert read_end(ours, 2 * len(REQUEST)) == 2 * REQUEST
    assert link.unsent_bytes == 0
    link.close()


def test_a_serial_port_that_takes_nothing_drops_whole_frames(pty) -> None:
    ours, name = pty
    link = open_link(str(name), 57600)
    written = fill(link)
    assert at_once(lambda: link.write(REQUEST)) < 0.2
    assert link.unsent_bytes == 2 * len(REQUEST)
    got = b""
    while len(got) < written - len(REQUEST) and select.select([ours], [], [], 5)[0]:
        got += os.read(ours, 65_536)
        # A piece that was begun is completed by a later write.
        link.write(b"")
    assert got == REQUEST * ((written - len(REQUEST)) // len(REQUEST))
    link.close()


def test_a_serial_port_unplugged_while_writing_is_reported() -> None:
    ours, theirs = os.openpty()
    link = open_link(os.ttyname(theirs), 57600)
    os.close(ours)
    os.close(theirs)
    with pytest.raises(LinkError, match="cannot be used as a serial port"):
        link.write(REQUEST)
    link.close()
    with pytest.raises(LinkError):
        link.write(REQUEST)


def test_udp_reports_sources_and_sends_to_destinations() -> None:
    link = open_link("udpin:127.0.0.1:0", 57600)
    port = int(link.name.rpartition(":")[2])
    ends = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(2)]
    for end in ends:
        end.settimeout(PATIENCE_S)
        end.bind(("127.0.0.1", 0))
        end.sendto(b"there", ("127.0.0.1", port))
        assert link.read(2.0) == [(b"there", end.getsockname())]
    # Without a destination nothing is sent, not even to the last sender.
    link.write(REQUEST)
    link.write(REQUEST, ends[0].getsockname())
    assert ends[0].recv(1000) == REQUEST
    for end in ends:
        end.setblocking(False)
        with pytest.raises(BlockingIOError):
            end.recv(1000)
    assert link.unsent_bytes == 0
    name = ends[0].getsockname()
    for end in ends:
        end.close()
    # The peer is gone: the port goes on listening.
    for _ in range(3):
        link.write(REQUEST, name)
        assert link.read(0.0) == []
    link.close()
    with pytest.raises(LinkError):
        link.write(REQUEST)


@pytest.mark.parametrize(
    ("number", "ends"),
    [(errno.EAGAIN, False), (errno.ENETUNREACH, False), (errno.EPERM, False), (errno.EBADF, True)],
)
def test_udp_without_a_network_goes_on_listening(number: int, ends: bool) -> None:
    class Broken:
        def sendto(self, data: bytes, peer: object) -> None:
            raise OSError(number, os.strerror(number))

    link = UdpLink("127.0.0.1", 0)
    whole, link.socket = link.socket, Broken()
    if ends:
        with pytest.raises(LinkError, match="udpin:"):
            link.write(REQUEST, ("192.0.2.1", 14550))
    else:
        link.write(REQUEST, ("192.0.2.1", 14550))
    assert link.unsent_bytes == (0 if ends else len(REQUEST))
    whole.close()


def test_a_flood_of_empty_datagrams_ends_a_read() -> None:
    class Endless:
        def fileno(self) -> int:
            return whole.fileno()

        def recvfrom(self, size: int) -> tuple[bytes, tuple[str, int]]:
            return b"", ("192.0.2.1", 14550)

    link = UdpLink("127.0.0.1", 0)
    whole, link.socket = link.socket, Endless()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outlet:
        outlet.sendto(b"", whole.getsockname())
        assert not any(part.data for part in link.read(2.0))
    whole.close()


def test_tcp_both_ways_full_and_reset() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = open_link(f"tcp:127.0.0.1:{server.getsockname()[1]}", 57600)
        there, _ = server.accept()
        there.settimeout(PATIENCE_S)
        link.write(REQUEST)
        assert there.recv(1000) == REQUEST
        written = fill(link)
        assert at_once(lambda: link.write(REQUEST)) < 0.2
        got, whole = 0, written - len(REQUEST)
        while got < whole:
            piece = there.recv(1 << 20)
            link.write(b"")
            # Each piece continues where the last one ended.
            offset = got % len(REQUEST)
            assert piece == (REQUEST * (len(piece) // len(REQUEST) + 2))[offset:][: len(piece)]
            got += len(piece)
        assert got == whole
        there.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        there.close()
        with pytest.raises(LinkError, match="tcp:"):
            for _ in range(100):
                link.write(REQUEST)
        link.close()


def test_tcp_to_one_that_never_answers_is_bounded(monkeypatch) -> None:
    monkeypatch.setattr(tcp, "CONNECT_S", 0.05)
    with socket.socket() as server:
        # A listener whose queue is full does not answer.
        server.bind(("127.0.0.1", 0))
        server.listen(0)
        address = server.getsockname()
        others = [socket.socket() for _ in range(4)]
        for other in others:
            other.setblocking(False)
            other.connect_ex(address)

        def connect() -> None:
            with pytest.raises(LinkError, match="timed out"):
                open_link(f"tcp:127.0.0.1:{address[1]}", 57600)

        assert at_once(connect) < 1.0
        for other in others:
            other.close()


def test_tcp_tries_all_addresses_in_one_timeout(monkeypatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as refusing:
        refused = refusing.getsockname()
    with socket.create_server(("127.0.0.1", 0)) as server:
        way = (socket.AF_INET, socket.SOCK_STREAM, 0, "")
        addresses = [(*way, refused), (*way, server.getsockname())]
        monkeypatch.setattr(socket, "getaddrinfo", lambda *_: addresses)
        link = open_link("tcp:boat.example:5760", 57600)
        link.close()
        addresses.pop()
        with pytest.raises(LinkError, match="refused"):
            open_link("tcp:boat.example:5760", 57600)


def test_writing_to_a_file_link_does_nothing(tmp_path: Path) -> None:
    path = tmp_path / "ride.tlog"
    path.write_bytes(records(stream()))
    before = path.read_bytes()
    link = open_link(f"file:{path}", 57600)
    link.write(REQUEST)
    link.close()
    assert path.read_bytes() == before
    assert link.unsent_bytes == 0


def test_tcp_waits_no_longer_for_many_addresses_than_for_one(monkeypatch) -> None:
    now_s, waits = [0.0], []

    class Silent(socket.socket):
        def connect(self, address: object) -> None:
            waits.append(self.gettimeout())
            now_s[0] += self.gettimeout() / 2
            raise TimeoutError("timed out")

    monkeypatch.setattr(tcp.time, "monotonic", lambda: now_s[0])
    monkeypatch.setattr(socket, "socket", Silent)
    way = (socket.AF_INET, socket.SOCK_STREAM, 0, "", ("192.0.2.1", 5760))
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_: [way] * 3)
    with pytest.raises(LinkError, match="timed out"):
        tcp.TcpLink("boat.example", 5760)
    assert waits == pytest.approx([tcp.CONNECT_S / n for n in (1, 2, 4)])
