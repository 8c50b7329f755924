"""Which viewers' commands are accepted, and the isolation of slow or malformed viewers."""

import asyncio
import contextlib
import json

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from onboard.contract.commands import LONGEST_BYTES, Command, Reply
from onboard.feed.viewer import SEND_BUFFER_BYTES, is_loopback
from tests.onboard.feed.talkers import Daemon, Talker, note, play, served, silent_viewer
from tests.patience import PATIENCE_S, until_async


@pytest.mark.parametrize("waits", [False, True])
def test_a_viewer_that_reads_late_misses_no_answer(waits: bool) -> None:
    async def scene() -> None:
        daemon = Daemon(waits=waits)
        server, port = await served(daemon)
        late = silent_viewer(port)
        loop = asyncio.get_running_loop()
        await loop.sock_sendall(late, b"".join(note(n, "🌊" * 200) + b"\n" for n in range(20)))
        await until_async(lambda: len(daemon.commands) > 3)
        for _ in range(10):
            await asyncio.sleep(0)
        if waits:
            await until_async(lambda: len(daemon.commands) == 20)
        for reply in daemon.waiting:
            reply(None, None)
        data = b""
        while data.count(b'"kind":"ack"') < 20 or not data.endswith(b"\n"):
            data += await loop.sock_recv(late, 65536)
        acks = [json.loads(line) for line in data.splitlines()][1:]
        assert [ack["id"] for ack in acks] == list(range(20))
        assert all(ack["ok"] for ack in acks)
        await server.close()

    play(scene)


def test_notifications_skip_a_viewer_that_does_not_read() -> None:
    async def scene() -> None:
        server, port = await served(Daemon())
        silent_viewer(port)
        await until_async(lambda: server.viewers == 1)
        for _ in range(4):
            talker = await Talker.to(port)
            talker.send(*(note(n, "🌊" * 200) for n in range(20)))
            for _ in range(20):
                while (await talker.ack())["id"] is None:
                    pass
        assert max(server.unsent_bytes) < SEND_BUFFER_BYTES + 3000
        await server.close()

    play(scene)


def test_commands_from_elsewhere_are_refused() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon, may_command=lambda _: False)
        one = await Talker.to(port)
        one.send(note(4))
        answer = await one.ack()
        assert (answer["id"], answer["ok"]) == (4, False)
        assert answer["why"] == {"code": "not_here"}
        assert daemon.commands == []
        await server.close()

    play(scene)


def test_a_daemon_may_accept_no_commands() -> None:
    async def scene() -> None:
        server, port = await served(None)
        one = await Talker.to(port)
        one.send(note(4))
        assert (await one.ack())["why"] == {"code": "no_commands"}
        await server.close()

    play(scene)


@pytest.mark.parametrize("address", [b"/", b"/" + b"a" * 2000])
def test_a_browser_sent_here_by_a_page_is_disconnected(address: bytes) -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.send(b"POST " + address + b" HTTP/1.1\r", b"Host: 127.0.0.1\r", b"\r", note(1))
        assert await one.is_put_out()
        assert daemon.commands == []
        await server.close()

    play(scene)


def test_a_fault_of_the_daemon_is_an_answer(caplog) -> None:
    def fails(command: Command, reply: Reply) -> None:
        raise ZeroDivisionError

    async def scene() -> None:
        server, port = await served(fails)
        one = await Talker.to(port)
        one.send(note(1), b"{}")
        assert (await one.ack())["why"] == {"code": "fault"}
        assert (await one.ack())["why"]["key"] == "kind"
        await server.close()

    play(scene)
    assert "a command failed" in caplog.text


@pytest.mark.parametrize(
    ("peer", "here"),
    [
        (("127.0.0.1", 1), True),
        (("127.8.8.8", 1), True),
        (("::1", 1, 0, 0), True),
        (("::ffff:127.0.0.1", 1, 0, 0), True),
        (("::ffff:192.0.2.1", 1, 0, 0), False),
        (("192.0.2.1", 1), False),
        (("fe80::1%eth0", 1, 0, 2), False),
        (("0.0.0.0", 1), False),
        (("localhost", 1), False),
        ("", False),
        (None, False),
    ],
)
def test_loopback_peers(peer, here: bool) -> None:
    # 127.0.0.0/8 and ::1: RFC 6890, tables 4 and 17.
    assert is_loopback(peer) is here


pieces = st.one_of(
    st.binary(max_size=300),
    st.binary(max_size=40).map(lambda data: data + b"\n"),
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
        lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from("ab"), inner),
    ).map(lambda raw: json.dumps(raw).encode() + b"\n"),
    st.integers(0, 3000).map(lambda depth: b"[" * depth + b"\n"),
    st.integers(0, 900).map(lambda digits: b'{"id":' + b"9" * digits + b"}\n"),
)


@settings(max_examples=40)
@given(st.lists(pieces, max_size=12))
def test_random_input_is_answered_or_disconnected_and_changes_nothing(said: list[bytes]) -> None:
    daemon, faults = Daemon(), []
    assume(b"".join(said).count(b"\n") < 150)  # more is a flood

    async def scene() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, fault: faults.append(fault))
        server, port = await served(daemon)
        one = await Talker.to(port)
        sent = b"".join(said)
        one.writer.write(sent)
        one.writer.write_eof()
        data = b""
        async with asyncio.timeout(PATIENCE_S):
            with contextlib.suppress(ConnectionError):
                while piece := await one.reader.read(65536):
                    data += piece
        answers = [json.loads(line) for line in data.splitlines()]
        assert all(one["kind"] == "ack" and one["ok"] is False for one in answers)
        # Each line is answered, unless the viewer was disconnected for an invalid line.
        lines = sent.split(b"\n")
        long = sum(len(line) > LONGEST_BYTES for line in lines)
        received = len(lines) - 1 - sum(len(line) > LONGEST_BYTES for line in lines[:-1])
        assert len(answers) <= received + long
        if all(line.strip()[:1] in (b"", b"{") for line in lines[:-1]):
            assert len(answers) >= received
        await until_async(lambda: server.viewers == 0)
        await server.close()

    play(scene)
    assert daemon.commands == []
    assert faults == []
