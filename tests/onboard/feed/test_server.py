"""The feed: viewers come, talk and go, and neither a slow nor a loud one holds anybody up."""

import asyncio
import contextlib
import json
import socket
from collections.abc import Awaitable, Callable
from typing import ClassVar

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from onboard.errors import FeedError, UsageError
from onboard.feed.commands import Command, Mark, Reply, Set
from onboard.feed.server import WAITING_MOST, FeedServer, OnCommand, parse_listen
from onboard.feed.snapshot import as_line
from onboard.feed.viewer import SEND_BUFFER_BYTES, STANDSTILL_S, is_loopback

LINE = as_line({"kind": "snapshot", "fill": "x" * 2000})


async def opened() -> tuple[FeedServer, int]:
    server = FeedServer()
    return server, await server.open("127.0.0.1", 0, "skiff")


async def until(condition) -> None:
    async with asyncio.timeout(5):
        while not condition():
            await asyncio.sleep(0.002)


def test_a_viewer_is_greeted_and_gets_what_is_published() -> None:
    async def scene() -> None:
        server, port = await opened()
        server.publish(as_line({"kind": "snapshot", "seq": 1}), 0.0)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        hello, newest = json.loads(await reader.readline()), json.loads(await reader.readline())
        assert (hello["schema"], hello["kind"], hello["craft"]) == (1, "hello", "skiff")
        assert newest["seq"] == 1
        server.publish(as_line({"kind": "snapshot", "seq": 2}), 0.2)
        assert json.loads(await reader.readline())["seq"] == 2
        writer.close()
        await until(lambda: server.viewers == 0)
        server.publish(LINE, 0.4)
        await server.close()

    asyncio.run(scene())


def test_a_slow_viewer_is_left_out_then_put_out_and_the_others_get_all() -> None:
    async def scene() -> None:
        server, port = await opened()
        slow = socket.socket()
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.connect(("127.0.0.1", port))
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        await reader.readline()
        await until(lambda: server.viewers == 2)
        got = 0
        for n in range(400):
            server.publish(LINE, 0.01 * n)
            assert await reader.readline() == LINE
            got += 1
        assert got == 400
        waiting = [w.transport.get_write_buffer_size() for w in server._viewers]
        assert 0 < max(waiting) <= len(LINE)
        assert server.viewers == 2
        server.publish(LINE, 4.0 + STANDSTILL_S)
        assert await reader.readline() == LINE
        assert server.viewers == 1
        slow.close()
        writer.close()
        await server.close()

    asyncio.run(scene())


def test_a_viewer_that_talks_or_breaks_off_does_no_harm() -> None:
    async def scene() -> None:
        server, port = await opened()
        rude = socket.create_connection(("127.0.0.1", port))
        rude.sendall(b"\x00\xff" * 5000 + b"{}\n")
        rude.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
        rude.close()  # a reset, not an orderly end
        await asyncio.sleep(0.02)
        for n in range(5):
            server.publish(LINE, float(n))
        await until(lambda: server.viewers == 0)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert json.loads(await reader.readline())["kind"] == "hello"
        writer.close()
        await server.close()

    asyncio.run(scene())


def test_a_port_in_use_is_said() -> None:
    async def scene() -> None:
        with socket.create_server(("127.0.0.1", 0)) as taken:
            port = taken.getsockname()[1]
            with pytest.raises(FeedError, match=r"already in use.*--listen"):
                await FeedServer().open("127.0.0.1", port, "skiff")

    asyncio.run(scene())


@pytest.mark.parametrize("text", ["27220", "host:", ":1", "host:70000", "host:x"])
def test_what_is_no_address_is_said(text: str) -> None:
    with pytest.raises(UsageError, match="expected HOST:PORT"):
        parse_listen(text)


class Daemon:
    """Takes commands as a daemon does: done at once, or left waiting."""

    def __init__(self, *, waits: bool = False) -> None:
        self.heard: list[Command] = []
        self.waiting: list[Reply] = []
        self.waits = waits

    def __call__(self, command: Command, reply: Reply) -> None:
        self.heard.append(command)
        if self.waits:
            self.waiting.append(reply)
        elif isinstance(command, Mark) and command.text == "no":
            reply("it is not to be", None)
        else:
            reply(None, None)


class Talker:
    """A viewer that says things, and reads acknowledgements."""

    all: ClassVar[list["Talker"]] = []

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    @classmethod
    async def to(cls, port: int) -> "Talker":
        talker = cls(*await asyncio.open_connection("127.0.0.1", port))
        cls.all.append(talker)
        assert json.loads(await talker.reader.readline())["kind"] == "hello"
        return talker

    def say(self, *lines: bytes) -> None:
        self.writer.write(b"".join(line + b"\n" for line in lines))

    async def ack(self) -> dict:
        async with asyncio.timeout(5):
            while True:
                message = json.loads(await self.reader.readline())
                if message["kind"] == "ack":
                    return message

    async def is_put_out(self) -> bool:
        async with asyncio.timeout(5):
            try:
                while await self.reader.read(65536):
                    pass
            except ConnectionError:
                pass
            return True


def note(number: int, text: str = "x") -> bytes:
    command = {"kind": "mark", "id": number, "mark": "note", "text": text}
    return json.dumps(command, ensure_ascii=False).encode()


def play(scene: Callable[[], Awaitable[None]]) -> None:
    async def all_of_it() -> None:
        try:
            async with asyncio.timeout(20):
                await scene()
        finally:
            for talker in Talker.all:
                talker.writer.close()
            Talker.all.clear()
            while SILENT:
                SILENT.pop().close()
            await asyncio.sleep(0)

    asyncio.run(all_of_it())


async def served(on_command: OnCommand | None, **more) -> tuple[FeedServer, int]:
    server = FeedServer(**more)
    return server, await server.open("127.0.0.1", 0, "skiff", on_command)


def test_a_command_is_answered_and_told_to_the_others() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one, other = await Talker.to(port), await Talker.to(port)
        await until(lambda: server.viewers == 2)
        one.say(note(7, "no"), b'{"hello', b"", note(8, "weed"))
        refused = await one.ack()
        command = {"kind": "mark", "id": 7, "mark": "note", "text": "no"}
        assert refused == {"kind": "ack", "id": 7, "ok": False, "why": "it is not to be",
                           "by": True, "command": command}  # fmt: skip
        why = "the line is not JSON: expected one object a line"
        for _ in range(2):
            assert await one.ack() == {"kind": "ack", "id": None, "ok": False, "why": why}
        command = {"kind": "mark", "id": 8, "mark": "note", "text": "weed"}
        assert await one.ack() == {"kind": "ack", "id": 8, "ok": True, "why": None,
                                   "by": True, "command": command}  # fmt: skip
        # What was refused is nobody else's business.
        assert await other.ack() == {"kind": "ack", "id": None, "ok": True, "why": None,
                                     "by": False, "command": command}  # fmt: skip
        assert daemon.heard == [Mark(7, "note", "no"), Mark(8, "note", "weed")]
        await server.close()

    play(scene)


def test_what_was_done_may_say_more_than_the_command() -> None:
    async def scene() -> None:
        server, port = await served(lambda _, reply: reply(None, Set(3, "home", (45.0, -30.0))))
        one = await Talker.to(port)
        one.say(b'{"kind":"set","id":3,"key":"home","value":"here"}')
        assert (await one.ack())["command"]["value"] == [45.0, -30.0]
        await server.close()

    play(scene)


def test_an_answer_may_come_later_and_comes_once() -> None:
    async def scene() -> None:
        daemon = Daemon(waits=True)
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.say(note(1), note(2))
        one.writer.write_eof()  # half-open: it says no more, but reads
        await until(lambda: len(daemon.waiting) == 2)
        for n in range(20):
            server.publish(LINE, 0.2 * n)
        daemon.waiting[1](None, None)
        daemon.waiting[1]("not twice", None)
        daemon.waiting[0]("no", None)
        assert [(await one.ack())["id"], (await one.ack())["id"]] == [2, 1]
        assert await one.is_put_out()
        assert server.viewers == 0
        await server.close()

    play(scene)


def test_an_answer_to_a_viewer_that_left_is_let_go_and_still_told() -> None:
    async def scene() -> None:
        daemon = Daemon(waits=True)
        server, port = await served(daemon)
        one, other = await Talker.to(port), await Talker.to(port)
        one.say(note(1))
        await until(lambda: len(daemon.waiting) == 1)
        one.writer.transport.abort()
        await asyncio.sleep(0.01)
        daemon.waiting[0](None, None)
        assert (await other.ack())["command"]["id"] == 1
        await server.close()

    play(scene)


def test_only_so_many_commands_wait() -> None:
    async def scene() -> None:
        daemon = Daemon(waits=True)
        server, port = await served(daemon)
        talkers = [await Talker.to(port) for _ in range(5)]
        for talker in talkers:
            talker.say(*(note(n) for n in range(15)))
        await until(lambda: len(daemon.waiting) == WAITING_MOST)
        refused = await talkers[-1].ack()
        assert (refused["ok"], refused["why"]) == (False, "too many commands wait: say it again")
        for reply in daemon.waiting:
            reply(None, None)
        daemon.waits = False
        talkers[0].say(note(99))
        while (await talkers[0].ack())["id"] != 99:
            pass
        await server.close()

    play(scene)


def test_too_many_lines_are_refused_and_a_flood_is_put_out() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.say(*(note(n) for n in range(60)))
        acks = [await one.ack() for _ in range(60)]
        assert [ack["id"] for ack in acks] == list(range(60))
        done = [ack["ok"] for ack in acks].count(True)
        assert 20 <= done < 40  # more only where this machine took a second over it
        assert len(daemon.heard) == done
        assert acks[-1]["why"] == "more than 20 lines a second: say it again"
        one.say(*([b"{"] * 4000))
        assert await one.is_put_out()
        endless = await Talker.to(port)
        with contextlib.suppress(ConnectionError):
            for _ in range(100):
                endless.writer.write(b"x" * 8192)
                await endless.writer.drain()
        assert await endless.is_put_out()
        await until(lambda: server.viewers == 0)
        await server.close()

    play(scene)


def test_a_long_line_is_refused_and_the_next_one_heard() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.say(note(1, "x" * 2000), note(2))
        assert (await one.ack())["why"] == "the line is longer than 1024 bytes"
        assert (await one.ack())["id"] == 2
        await server.close()

    play(scene)


def test_one_that_talks_and_never_reads_is_not_read_on() -> None:
    async def scene() -> None:
        server, port = await served(Daemon())
        rude, most = silent_viewer(port), 0
        reader = (await Talker.to(port)).reader
        talk = b"".join(note(n, "🌊" * 200) + b"\n" for n in range(150))
        talking = asyncio.create_task(asyncio.get_running_loop().sock_sendall(rude, talk))
        for n in range(300):
            server.publish(LINE, 0.05 * n)  # the rude one's 10 s of standstill pass by this clock
            # The other gets all of it, and what the rude one was granted.
            while await reader.readline() != LINE:
                pass
            unsent = [w.transport.get_write_buffer_size() for w in server._viewers]
            most = max(most, *unsent)
        assert SEND_BUFFER_BYTES < most <= SEND_BUFFER_BYTES + 2 * len(LINE)
        assert server.viewers == 1
        talking.cancel()
        await asyncio.gather(talking, return_exceptions=True)
        await server.close()

    play(scene)


SILENT: list[socket.socket] = []


def silent_viewer(port: int) -> socket.socket:
    """Connect one that takes little and reads only when it is told to."""
    silent = socket.socket()
    silent.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    silent.connect(("127.0.0.1", port))
    silent.setblocking(False)
    SILENT.append(silent)
    return silent


@pytest.mark.parametrize("waits", [False, True])
def test_one_that_reads_late_misses_no_answer(waits: bool) -> None:
    async def scene() -> None:
        daemon = Daemon(waits=waits)
        server, port = await served(daemon)
        late = silent_viewer(port)
        loop = asyncio.get_running_loop()
        await loop.sock_sendall(late, b"".join(note(n, "🌊" * 200) + b"\n" for n in range(20)))
        await until(lambda: len(daemon.heard) > 3)
        for _ in range(10):
            await asyncio.sleep(0)
        if waits:
            await until(lambda: len(daemon.heard) == 20)
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


def test_news_is_left_out_for_one_that_does_not_read() -> None:
    async def scene() -> None:
        server, port = await served(Daemon())
        silent_viewer(port)
        await until(lambda: server.viewers == 1)
        (writer,) = server._viewers
        for _ in range(4):
            talker = await Talker.to(port)
            talker.say(*(note(n, "🌊" * 200) for n in range(20)))
            for _ in range(20):
                while (await talker.ack())["id"] is None:
                    pass
        assert writer.transport.get_write_buffer_size() < SEND_BUFFER_BYTES + 3000
        await server.close()

    play(scene)


def test_commands_from_elsewhere_are_refused() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon, may_command=lambda _: False)
        one = await Talker.to(port)
        one.say(note(4))
        answer = await one.ack()
        assert (answer["id"], answer["ok"]) == (4, False)
        assert "from the board itself only" in answer["why"]
        assert daemon.heard == []
        await server.close()

    play(scene)


def test_a_daemon_may_take_no_commands() -> None:
    async def scene() -> None:
        server, port = await served(None)
        one = await Talker.to(port)
        one.say(note(4))
        assert (await one.ack())["why"] == "this daemon takes no commands"
        await server.close()

    play(scene)


@pytest.mark.parametrize("address", [b"/", b"/" + b"a" * 2000])
def test_a_browser_that_a_page_sends_here_is_not_heard(address: bytes) -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.say(b"POST " + address + b" HTTP/1.1\r", b"Host: 127.0.0.1\r", b"\r", note(1))
        assert await one.is_put_out()
        assert daemon.heard == []
        await server.close()

    play(scene)


def test_a_fault_of_the_daemon_is_an_answer_not_the_end(caplog) -> None:
    def fails(command: Command, reply: Reply) -> None:
        raise ZeroDivisionError

    async def scene() -> None:
        server, port = await served(fails)
        one = await Talker.to(port)
        one.say(note(1), b"{}")
        assert (await one.ack())["why"] == "the daemon failed at it: see its log"
        assert (await one.ack())["why"] == "kind = null: expected set or mark"
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
def test_who_is_on_this_board(peer, here: bool) -> None:
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


@settings(deadline=None, max_examples=40)
@given(st.lists(pieces, max_size=12))
def test_random_talk_is_answered_or_ended_and_changes_nothing(said: list[bytes]) -> None:
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
        async with asyncio.timeout(5):
            with contextlib.suppress(ConnectionError):
                while piece := await one.reader.read(65536):
                    data += piece
        answers = [json.loads(line) for line in data.splitlines()]
        assert all(one["kind"] == "ack" and one["ok"] is False for one in answers)
        # Each line has its answer, unless it was put out for a line that is no viewer's.
        lines = sent.split(b"\n")
        long = sum(len(line) > 1024 for line in lines)
        heard = len(lines) - 1 - sum(len(line) > 1024 for line in lines[:-1])
        assert len(answers) <= heard + long
        if all(line.strip()[:1] in (b"", b"{") for line in lines[:-1]):
            assert len(answers) >= heard
        await until(lambda: server.viewers == 0)
        await server.close()

    play(scene)
    assert daemon.heard == []
    assert faults == []
