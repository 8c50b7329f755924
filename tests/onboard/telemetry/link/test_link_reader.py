"""The reading thread survives any fault of a link, reports it, and bounds its waits."""

import time

import pytest

from onboard.errors import LinkEndedError, LinkError
from onboard.telemetry.link import link_reader
from onboard.telemetry.link.base import Part, Piece, Source
from onboard.telemetry.link.link_reader import LinkReader
from tests.patience import until

CRAFT, STRANGER, OTHER = ("192.0.2.1", 14550), ("192.0.2.2", 9), ("192.0.2.3", 9)


class Scripted:
    """A link that performs scripted acts: it returns bytes and raises exceptions."""

    name = "scripted"

    def __init__(self, *acts: object) -> None:
        self.acts = list(acts)
        self.closed = False
        self.sent = b""
        self.sent_to: list[Source | None] = []
        self.unsent_bytes = 0

    def write(self, data: bytes, to: Source | None = None) -> None:
        self.sent += data
        self.sent_to.append(to)

    def read(self, timeout_s: float) -> list[Part]:
        act = self.acts.pop(0) if self.acts else b""
        if isinstance(act, Exception):
            raise act
        if not act:
            time.sleep(0.005)
        if isinstance(act, list):
            return act
        assert isinstance(act, bytes)
        return [Part(act)] if act else []

    def close(self) -> None:
        self.closed = True


def reader(monkeypatch, *links: Scripted) -> LinkReader:
    monkeypatch.setattr(link_reader, "RETRY_FIRST_S", 0.01)
    waiting = list(links[1:])

    def reopen():
        if waiting:
            return waiting.pop(0)
        raise LinkError("still gone")

    made = LinkReader(links[0], reopen, lambda: 4)
    made.start()
    return made


def test_a_broken_link_is_closed_reported_and_reopened(monkeypatch) -> None:
    first, second = Scripted(b"one", LinkError("unplugged")), Scripted(b"two")
    reading = reader(monkeypatch, first, second)
    got: list[Piece] = []
    until(lambda: got.extend(reading.take()) or len(got) == 2)
    assert got == [(4, b"one", None), (4, b"two", None)]
    assert first.closed
    until(lambda: reading.problem is None)
    reading.stop()
    assert second.closed


def test_after_an_unexpected_fault_the_link_is_reopened(monkeypatch) -> None:
    reading = reader(monkeypatch, Scripted(RuntimeError("what?")), Scripted(b"two"))
    got: list[Piece] = []
    until(lambda: got.extend(reading.take()) or got)
    assert got == [(4, b"two", None)]
    reading.stop()


def test_a_link_that_stays_away_is_reported(monkeypatch) -> None:
    reading = reader(monkeypatch, Scripted(LinkError("unplugged")))
    until(lambda: str(reading.problem) == "still gone")
    reading.stop()


def test_after_data_the_wait_is_short_again(monkeypatch) -> None:
    links = [Scripted(b"x", LinkError("gone")) for _ in range(8)]
    reading = reader(monkeypatch, *links)
    until(lambda: str(reading.problem) == "still gone")
    # Eight breaks, each after data: a wait doubled each time would exceed a second.
    assert reading.retry_s <= 0.5
    reading.stop()


def test_a_link_at_its_end_stays_ended(monkeypatch) -> None:
    reading = reader(monkeypatch, Scripted(b"all", LinkEndedError("played")), Scripted(b"never"))
    until(lambda: reading.ended)
    assert str(reading.problem) == "played"
    assert reading.take() == [(4, b"all", None)]
    reading.stop()


def test_bytes_not_taken_are_dropped_and_counted(monkeypatch) -> None:
    monkeypatch.setattr(link_reader, "WAITING_MOST_BYTES", 10)
    monkeypatch.setattr(link_reader, "FINE_S", 1e-6)
    reading = reader(monkeypatch, Scripted(*[b"12345"] * 5))
    until(lambda: reading.dropped_bytes == 15)
    assert [piece.data for piece in reading.take()] == [b"12345"] * 2
    assert reading.waiting_bytes == 0
    reading.stop()


def test_strangers_bytes_are_dropped_before_the_crafts(monkeypatch) -> None:
    monkeypatch.setattr(link_reader, "WAITING_MOST_BYTES", 40)
    reads = [[Part(b"craft%d" % n, CRAFT), Part(b"junk" * 6, STRANGER)] for n in range(5)]
    reading = LinkReader(Scripted(*reads, LinkEndedError("played")), Scripted, lambda: 4)
    reading.answer(CRAFT)
    reading.start()
    until(lambda: reading.ended)
    got = reading.take()
    assert [piece.data for piece in got if piece.source == CRAFT] == [
        b"craft%d" % n for n in range(5)
    ]
    strangers = [piece.data for piece in got if piece.source == STRANGER]
    assert reading.dropped_bytes == 5 * 24 - sum(map(len, strangers)) > 0


def test_a_flood_is_taken_in_parts_in_order(monkeypatch) -> None:
    monkeypatch.setattr(link_reader, "TAKEN_MOST_BYTES", 10)
    parts = [Part(bytes((n,)) * 4, (CRAFT, STRANGER, OTHER)[n % 3]) for n in range(9)]
    reading = LinkReader(Scripted(parts, LinkEndedError("played")), Scripted, lambda: 4)
    reading.start()
    until(lambda: reading.ended)
    taken = []
    while reading.waiting_bytes:
        taken.append(reading.take())
    assert [len(pieces) for pieces in taken] == [3, 3, 3]
    assert [piece for pieces in taken for piece in pieces] == [Piece(4, *part) for part in parts]
    assert reading.dropped_bytes == 0


def test_consecutive_parts_of_one_source_are_one_piece(monkeypatch) -> None:
    parts = [Part(b"a", CRAFT), Part(b"b", CRAFT), Part(b"c", OTHER), Part(b"d", CRAFT)]
    reading = LinkReader(Scripted(parts, LinkEndedError("played")), Scripted, lambda: 4)
    reading.start()
    until(lambda: reading.ended)
    assert reading.take() == [(4, b"ab", CRAFT), (4, b"c", OTHER), (4, b"d", CRAFT)]


def test_bytes_go_to_the_last_answered_address_on_any_link(monkeypatch) -> None:
    first, second = Scripted(b"a"), Scripted(b"b")
    reading = reader(monkeypatch, first, second)
    until(lambda: reading.received_s is not None)
    reading.write(b"1")
    for source in (CRAFT, OTHER, None):
        reading.answer(source)
        reading.write(b"2")
    first.acts.append(LinkError("gone"))
    until(lambda: reading.problem is None and first.closed)
    reading.write(b"3")
    reading.stop()
    assert first.sent_to == [None, CRAFT, OTHER, OTHER]
    assert second.sent_to == [OTHER]


def test_bytes_go_to_the_open_link_without_waiting(monkeypatch) -> None:
    class Broken(Scripted):
        def write(self, data: bytes, to: Source | None = None) -> None:
            raise LinkError("gone")

    first, second = Scripted(b"a"), Broken(b"b")
    reading = reader(monkeypatch, first, second)
    until(lambda: reading.received_s is not None)
    reading.write(b"beat")
    reading.write(b"")
    assert first.sent == b"beat"
    first.acts.append(LinkError("unplugged"))
    until(lambda: reading.problem is None and first.closed and len(reading.take()) > 0)
    reading.write(b"lost")
    assert first.sent == b"beat"
    reading.stop()


@pytest.mark.parametrize(
    ("gone_us", "size", "relieved"),
    [(100_000, 10, False), (600_000, 10, True), (0, link_reader.MUCH_BYTES, True)],
)
def test_the_thread_takes_bytes_in_where_the_loop_is_late_or_much_waits(
    gone_us: int, size: int, relieved: bool
) -> None:
    now_us, taken = [0], []
    reading = LinkReader(None, Scripted, lambda: now_us[0])
    reading.relief = lambda: taken.append(reading.take())
    reading.put([Part(b"first", CRAFT)])
    assert not taken
    now_us[0] = gone_us
    reading.put([Part(b"x" * size, CRAFT)])
    assert [len(pieces) for pieces in taken] == ([2] if relieved else [])


def test_waits_for_a_link_that_stays_away_grow_to_a_limit() -> None:
    reading, waits = LinkReader(None, Scripted, lambda: 4), []
    reading.stopping.wait = waits.append  # type: ignore[assignment, method-assign]
    for _ in range(6):
        reading.wait_after("gone")
    assert waits == [0.5, 1.0, 2.0, 4.0, 5.0, 5.0]


def test_reads_keep_to_a_grid_and_follow_sooner_where_much_comes() -> None:
    reading = LinkReader(None, Scripted, lambda: 4)
    reading.batch_s = 0.2
    small = 60 * link_reader.PART_BYTES
    assert reading.pause_s(small, 100.05) == pytest.approx(0.15)
    assert reading.pause_s(small, 100.21) == pytest.approx(0.19)
    # Ten times as much in the same time: the buffer must not fill up before the next read.
    flood = 10 * small
    first_s = reading.pause_s(flood, 100.41)
    assert first_s == pytest.approx(0.2 * link_reader.ROOM_BYTES / flood)
    # The pause stays short as long as the rate is that high.
    share = first_s / 0.2
    assert reading.pause_s(round(flood * share), 100.41 + first_s) == pytest.approx(
        first_s, rel=1e-3
    )
    assert reading.pause_s(10**9, 100.5) == link_reader.BUSY_S
