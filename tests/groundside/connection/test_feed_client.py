"""The feed client against a loopback server that comes, goes, stalls and sends malformed data."""

import asyncio
import itertools

from hypothesis import given
from hypothesis import strategies as st

from groundside.connection.feed_client import FeedClient
from onboard.contract.trip_line import TripLine
from onboard.feed.lines import LineSplitter
from tests.free_port import free_port
from tests.groundside.connection.scripted_feed import (
    HELLO,
    Waits,
    is_seq,
    lines_of,
    sends,
    serving,
    snapshot,
    until,
)
from tests.play import play
from tests.wire import wire


def test_yields_snapshots_and_ignores_unknown_kinds() -> None:
    async def main() -> None:
        stay = asyncio.Event()
        lines = lines_of(HELLO, {"kind": "weather", "x": 1}, snapshot(1))
        async with serving(sends(lines, stay=stay)) as port:
            client = FeedClient("127.0.0.1", port)
            seen = await until(client, is_seq(1))
            stay.set()
        assert [update.problem for update in seen] == [None]
        assert client.malformed_lines == 0

    play(main)


def test_no_feed_is_a_sentence_and_the_waits_grow_to_a_limit() -> None:
    async def main() -> None:
        port = free_port()
        waits = Waits()
        client = FeedClient("127.0.0.1", port, sleep=waits)
        seen = await until(client, lambda _: len(waits.asked_s) >= 6)
        assert seen[0].problem == f"no feed at 127.0.0.1:{port}, trying again in 0.5 s"
        assert waits.asked_s[:6] == [0.5, 1.0, 2.0, 4.0, 5.0, 5.0]

    play(main)


def test_an_unresolvable_host_is_a_sentence() -> None:
    async def main() -> None:
        client = FeedClient("a..b", 1, sleep=Waits())
        seen = await until(client, lambda update: update.problem is not None)
        assert seen[0].problem is not None
        assert seen[0].problem.startswith("no feed at a..b:1")

    play(main)


def test_a_feed_that_ends_is_reconnected() -> None:
    async def main() -> None:
        waits = Waits()
        calls = 0
        stay = asyncio.Event()

        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            nonlocal calls
            calls += 1
            await sends(lines_of(HELLO, snapshot(calls)))(reader, writer)
            if calls == 3:
                await stay.wait()

        async with serving(serve) as port:
            seen = await until(FeedClient("127.0.0.1", port, sleep=waits), is_seq(3))
            stay.set()
        problems = [update.problem for update in seen if update.problem]
        assert problems == [f"feed at 127.0.0.1:{port} ended, trying again in 0.5 s"] * 2
        assert waits.asked_s == [0.5, 0.5]

    play(main)


def test_malformed_lines_are_counted_and_skipped() -> None:
    async def main() -> None:
        stay = asyncio.Event()
        garbage = b'\xff\xfe\n{"kind": "snap\n[1, 2]\n{"no": "kind"}\n\n' + b"[" * 5000 + b"\n"
        pieces = (lines_of(HELLO), garbage, lines_of(snapshot(7)))
        async with serving(sends(*pieces, stay=stay)) as port:
            client = FeedClient("127.0.0.1", port)
            seen = await until(client, is_seq(7))
            stay.set()
        assert client.malformed_lines == 5  # an empty line is not counted
        assert all(update.problem is None for update in seen)

    play(main)


def test_another_service_is_reported_as_no_feed() -> None:
    async def main() -> None:
        async with serving(sends(b"220 hello there\n")) as port:
            client = FeedClient("127.0.0.1", port, sleep=Waits())
            seen = await until(client, lambda update: update.problem is not None)
        assert seen[0].problem is not None
        assert seen[0].problem.startswith(f"what answers at 127.0.0.1:{port} is not a feed")

    play(main)


def test_an_unknown_schema_is_reported() -> None:
    async def main() -> None:
        hello = {"schema": 1, "kind": "hello"}
        async with serving(sends(lines_of(hello, snapshot(1)))) as port:
            client = FeedClient("127.0.0.1", port, sleep=Waits())
            seen = await until(client, lambda update: update.problem is not None)
        assert [update.snapshot for update in seen] == [None]
        assert seen[0].problem is not None
        assert "schema 1, this viewer knows 2" in seen[0].problem

    play(main)


def test_an_oversized_line_is_dropped_and_the_next_one_read() -> None:
    async def main() -> None:
        stay = asyncio.Event()
        huge = b'{"kind": "snapshot", "seq": 1, "x": "' + b"x" * 1_500_000 + b'"}\n'
        async with serving(sends(lines_of(HELLO), huge, lines_of(snapshot(2)), stay=stay)) as port:
            client = FeedClient("127.0.0.1", port)
            seen = await until(client, is_seq(2))
            stay.set()
        assert client.oversized_lines == 1
        assert [update.snapshot.seq for update in seen if update.snapshot] == [2]

    play(main)


def test_a_slow_viewer_gets_only_the_newest_snapshot() -> None:
    async def main() -> None:
        stay = asyncio.Event()
        lines = lines_of(HELLO, *(snapshot(seq) for seq in range(1, 1001)))
        async with serving(sends(lines, stay=stay)) as port:
            client = FeedClient("127.0.0.1", port)
            seen = await until(client, is_seq(1000))
            stay.set()
        assert len(seen) + client.superseded_snapshots == 1000
        assert len(seen) < 100

    play(main)


def test_a_line_may_arrive_byte_by_byte() -> None:
    async def main() -> None:
        stay = asyncio.Event()

        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            for byte in lines_of(HELLO, snapshot(4)):
                writer.write(bytes([byte]))
                await asyncio.sleep(0)
            await stay.wait()

        async with serving(serve) as port:
            client = FeedClient("127.0.0.1", port)
            await until(client, is_seq(4))
            stay.set()
        assert client.malformed_lines == 0

    play(main)


def test_a_silent_connection_counts_as_lost() -> None:
    async def main() -> None:
        stay = asyncio.Event()
        async with serving(sends(lines_of(HELLO, snapshot(1)), stay=stay)) as port:
            client = FeedClient("127.0.0.1", port, sleep=Waits(), silence_s=0.05)
            seen = await until(client, lambda update: update.problem is not None)
            stay.set()
        assert seen[-1].problem == (
            f"nothing from 127.0.0.1:{port} for 0.05 s, trying again in 0.5 s"
        )

    play(main)


@given(
    st.lists(st.binary(max_size=12).filter(lambda b: b"\n" not in b), max_size=8),
    st.lists(st.integers(0, 40), max_size=8),
)
def test_lines_do_not_depend_on_how_the_bytes_are_split(
    lines: list[bytes], cuts: list[int]
) -> None:
    data = b"".join(line + b"\n" for line in lines) + b"rest"
    places = sorted({min(cut, len(data)) for cut in cuts} | {0, len(data)})
    splitter = LineSplitter(longest_bytes=8)
    found = [
        line for start, end in itertools.pairwise(places) for line in splitter.feed(data[start:end])
    ]
    assert found == [line for line in lines if len(line) <= 8]
    assert splitter.oversized_lines == sum(len(line) > 8 for line in lines)


def test_the_trip_line_comes_once_with_the_next_snapshot() -> None:
    line = TripLine((1.0, 2.0), (0.0, 2.0), (0.0, 0.1))
    seen, stay = asyncio.Event(), asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(lines_of(HELLO, wire(line), snapshot(1)))
        await seen.wait()
        writer.write(lines_of(snapshot(2)))
        await stay.wait()

    async def main() -> None:
        async with serving(serve) as port:
            stream = FeedClient("127.0.0.1", port).stream()
            lines = []
            async for update in stream:
                if update.snapshot is not None:
                    lines.append((update.snapshot.seq, update.trip_line))
                    seen.set()
                if len(lines) == 2:
                    break
            await stream.aclose()  # type: ignore[attr-defined]
            stay.set()
        assert lines == [(1, line), (2, None)]

    play(main)
