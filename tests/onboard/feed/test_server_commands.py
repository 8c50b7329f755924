"""Commands are answered in order, announced to other viewers, and bounded."""

import asyncio
import contextlib

from onboard.contract.commands import LONGEST_BYTES, Mark, Set
from onboard.feed.server import UNANSWERED_MOST
from onboard.feed.viewer import SEND_BUFFER_BYTES
from tests.onboard.feed.talkers import (
    LINE,
    Daemon,
    Talker,
    note,
    play,
    served,
    silent_viewer,
)
from tests.patience import until_async


def test_a_command_is_acknowledged_and_others_are_notified() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one, other = await Talker.to(port), await Talker.to(port)
        await until_async(lambda: server.viewers == 2)
        one.send(note(7, "no"), b'{"hello', b"", note(8, "weed"))
        refused = await one.ack()
        command = {"kind": "mark", "id": 7, "mark": "note", "text": "no"}
        why = {"code": "fault"}
        assert refused == {"schema": 2, "kind": "ack", "id": 7, "ok": False, "why": why,
                           "by": True, "command": command}  # fmt: skip
        for _ in range(2):
            ack = await one.ack()
            assert (ack["id"], ack["ok"], ack["why"]) == (None, False, {"code": "not_json"})
        command = {"kind": "mark", "id": 8, "mark": "note", "text": "weed"}
        assert await one.ack() == {"schema": 2, "kind": "ack", "id": 8, "ok": True, "why": None,
                                   "by": True, "command": command}  # fmt: skip
        # A refusal is not announced to others.
        news = await other.ack()
        assert news == {"schema": 2, "kind": "ack", "id": None, "ok": True, "why": None,
                        "by": False, "command": command}  # fmt: skip
        assert daemon.commands == [Mark(7, "note", "no"), Mark(8, "note", "weed")]
        await server.close()

    play(scene)


def test_the_acknowledged_command_may_be_more_specific() -> None:
    async def scene() -> None:
        server, port = await served(lambda _, reply: reply(None, Set(3, "home", (45.0, -30.0))))
        one = await Talker.to(port)
        one.send(b'{"kind":"set","id":3,"key":"home","value":"here"}')
        assert (await one.ack())["command"]["value"] == [45.0, -30.0]
        await server.close()

    play(scene)


def test_an_answer_may_come_later_but_only_once() -> None:
    async def scene() -> None:
        daemon = Daemon(waits=True)
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.send(note(1), note(2))
        one.writer.write_eof()  # half-open: it sends no more, but reads
        await until_async(lambda: len(daemon.waiting) == 2)
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


def test_an_answer_to_a_viewer_that_left_still_notifies_others() -> None:
    async def scene() -> None:
        daemon = Daemon(waits=True)
        server, port = await served(daemon)
        one, other = await Talker.to(port), await Talker.to(port)
        one.send(note(1))
        await until_async(lambda: len(daemon.waiting) == 1)
        one.writer.transport.abort()
        await asyncio.sleep(0.01)
        daemon.waiting[0](None, None)
        assert (await other.ack())["command"]["id"] == 1
        await server.close()

    play(scene)


def test_unanswered_commands_are_bounded() -> None:
    async def scene() -> None:
        daemon = Daemon(waits=True)
        server, port = await served(daemon)
        talkers = [await Talker.to(port) for _ in range(5)]
        for talker in talkers:
            talker.send(*(note(n) for n in range(15)))
        await until_async(lambda: len(daemon.waiting) == UNANSWERED_MOST)
        refused = await talkers[-1].ack()
        assert (refused["ok"], refused["why"]) == (False, {"code": "too_many_wait"})
        for reply in daemon.waiting:
            reply(None, None)
        daemon.waits = False
        talkers[0].send(note(99))
        while (await talkers[0].ack())["id"] != 99:
            pass
        await server.close()

    play(scene)


def test_too_many_lines_are_refused_and_a_flood_is_disconnected() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.send(*(note(n) for n in range(60)))
        acks = [await one.ack() for _ in range(60)]
        assert [ack["id"] for ack in acks] == list(range(60))
        done = [ack["ok"] for ack in acks].count(True)
        assert 20 <= done < 40  # more only if this machine took a second for it
        assert len(daemon.commands) == done
        assert acks[-1]["why"] == {"code": "too_fast", "most": 20}
        one.send(*([b"{"] * 4000))
        assert await one.is_put_out()
        endless = await Talker.to(port)
        with contextlib.suppress(ConnectionError):
            for _ in range(100):
                endless.writer.write(b"x" * 8192)
                await endless.writer.drain()
        assert await endless.is_put_out()
        await until_async(lambda: server.viewers == 0)
        await server.close()

    play(scene)


def test_a_long_line_is_refused_and_the_next_one_handled() -> None:
    async def scene() -> None:
        daemon = Daemon()
        server, port = await served(daemon)
        one = await Talker.to(port)
        one.send(note(1, "x" * 3000), note(2))
        assert (await one.ack())["why"] == {"code": "line_too_long", "most": LONGEST_BYTES}
        assert (await one.ack())["id"] == 2
        await server.close()

    play(scene)


def test_a_viewer_that_never_reads_is_no_longer_read() -> None:
    async def scene() -> None:
        server, port = await served(Daemon())
        rude, most = silent_viewer(port), 0
        reader = (await Talker.to(port)).reader
        talk = b"".join(note(n, "🌊" * 200) + b"\n" for n in range(150))
        talking = asyncio.create_task(asyncio.get_running_loop().sock_sendall(rude, talk))
        for n in range(300):
            server.publish(LINE, 0.05 * n)  # the stuck viewer's 10 s pass by this clock
            # The other viewer gets everything, and notifications of the stuck one's commands.
            while await reader.readline() != LINE:
                pass
            most = max(most, *server.unsent_bytes)
        assert SEND_BUFFER_BYTES < most <= SEND_BUFFER_BYTES + 2 * len(LINE)
        assert server.viewers == 1
        talking.cancel()
        await asyncio.gather(talking, return_exceptions=True)
        await server.close()

    play(scene)
