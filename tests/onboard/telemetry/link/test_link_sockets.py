"""Options of sockets and devices: a router that vanishes is noticed, a device is exclusive."""

import os
import socket
import tty

import pytest

from onboard.errors import LinkError
from onboard.telemetry.link import udp
from onboard.telemetry.link.serial_port import SerialLink
from onboard.telemetry.link.tcp import ALIVE, GONE_AFTER_MS, TcpLink
from onboard.telemetry.link.udp import UdpLink


def test_a_router_that_vanishes_silently_is_noticed() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = TcpLink("127.0.0.1", server.getsockname()[1])
        ours = link.socket
        assert ours.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
        assert ours.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == GONE_AFTER_MS
        for option, value in ALIVE:
            assert ours.getsockopt(socket.IPPROTO_TCP, option) == value
        # Each request goes at once, not with the next one.
        assert ours.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) == 1
        link.close()


def test_a_serial_device_is_opened_exclusively() -> None:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    name = os.ttyname(theirs)
    first = SerialLink(name, 57600)
    with pytest.raises(LinkError):
        SerialLink(name, 57600)
    first.close()
    SerialLink(name, 57600).close()
    os.close(theirs)
    os.close(ours)


def test_each_datagram_goes_to_its_destination_only() -> None:
    link = UdpLink("127.0.0.1", 0)
    ends = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(2)]
    for end in ends:
        end.bind(("127.0.0.1", 0))
        end.setblocking(False)
    for letter, end in zip((b"a", b"b", b"c"), (*ends, ends[0]), strict=True):
        link.write(letter, end.getsockname())
        link.write(b"to nobody")
        assert end.recv(100) == letter
        for one in ends:
            with pytest.raises(BlockingIOError):
                one.recv(100)
    for end in ends:
        end.close()
    link.close()


def test_a_flood_of_large_datagrams_ends_a_read() -> None:
    class Endless:
        def fileno(self) -> int:
            return whole.fileno()

        def recvfrom(self, size: int) -> tuple[bytes, tuple[str, int]]:
            return bytes(size), ("192.0.2.1", 14550)

    link = UdpLink("127.0.0.1", 0)
    whole, link.socket = link.socket, Endless()  # type: ignore[assignment]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outlet:
        outlet.sendto(b"x", whole.getsockname())
        got = sum(len(part.data) for part in link.read(2.0))
    assert udp.READ_MOST_BYTES <= got < udp.READ_MOST_BYTES + udp.DATAGRAM_MOST_BYTES
    whole.close()
