"""The reading thread: it outlives whatever a link does, says so, and waits no longer than due."""

import time

from onboard import link_reader
from onboard.errors import LinkEndedError, LinkError
from onboard.link_reader import LinkReader


class Scripted:
    """A link that does one thing after another; what is an exception is raised."""

    name = "scripted"

    def __init__(self, *acts: object) -> None:
        self._acts = list(acts)
        self.closed = False
        self.sent = b""
        self.unsent_bytes = 0

    def write(self, data: bytes) -> None:
        self.sent += data

    def read(self, timeout_s: float) -> bytes:
        act = self._acts.pop(0) if self._acts else b""
        if isinstance(act, Exception):
            raise act
        if not act:
            time.sleep(0.005)
        assert isinstance(act, bytes)
        return act

    def close(self) -> None:
        self.closed = True


def until(condition) -> None:
    deadline = time.monotonic() + 5
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.002)


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


def test_a_broken_link_is_closed_said_and_opened_again(monkeypatch) -> None:
    first, second = Scripted(b"one", LinkError("unplugged")), Scripted(b"two")
    reading = reader(monkeypatch, first, second)
    got: list[tuple[int, bytes]] = []
    until(lambda: got.extend(reading.take()) or len(got) == 2)
    assert got == [(4, b"one"), (4, b"two")]
    assert first.closed
    until(lambda: reading.problem is None)
    reading.stop()
    assert second.closed


def test_a_fault_that_nobody_foresaw_does_not_make_the_craft_deaf(monkeypatch) -> None:
    reading = reader(monkeypatch, Scripted(RuntimeError("what?")), Scripted(b"two"))
    got: list[tuple[int, bytes]] = []
    until(lambda: got.extend(reading.take()) or got)
    assert got == [(4, b"two")]
    reading.stop()


def test_a_link_that_stays_away_is_reported(monkeypatch) -> None:
    reading = reader(monkeypatch, Scripted(LinkError("unplugged")))
    until(lambda: reading.problem == "still gone")
    reading.stop()


def test_after_data_came_the_wait_is_short_again(monkeypatch) -> None:
    links = [Scripted(b"x", LinkError("gone")) for _ in range(8)]
    reading = reader(monkeypatch, *links)
    until(lambda: reading.problem == "still gone")
    # Eight breaks, each after data: had the wait doubled every time it would be over a second.
    assert reading._retry_s <= 0.5
    reading.stop()


def test_a_link_at_its_end_stays_ended(monkeypatch) -> None:
    reading = reader(monkeypatch, Scripted(b"all", LinkEndedError("played")), Scripted(b"never"))
    until(lambda: reading.ended)
    assert reading.problem == "played"
    assert reading.take() == [(4, b"all")]
    reading.stop()


def test_bytes_that_nobody_takes_are_dropped_and_counted(monkeypatch) -> None:
    monkeypatch.setattr(link_reader, "HELD_MOST_BYTES", 10)
    monkeypatch.setattr(link_reader, "BATCH_S", 0.0)
    reading = reader(monkeypatch, Scripted(*[b"12345"] * 5))
    until(lambda: reading.dropped_bytes == 15)
    assert [piece for _, piece in reading.take()] == [b"12345"] * 2
    reading.stop()


def test_what_is_sent_goes_to_the_open_link_and_never_waits(monkeypatch) -> None:
    class Broken(Scripted):
        def write(self, data: bytes) -> None:
            raise LinkError("gone")

    first, second = Scripted(b"a"), Broken(b"b")
    reading = reader(monkeypatch, first, second)
    until(lambda: reading.heard_s is not None)
    reading.write(b"beat")
    reading.write(b"")
    assert first.sent == b"beat"
    first._acts.append(LinkError("unplugged"))
    until(lambda: reading.problem is None and first.closed and len(reading.take()) > 0)
    reading.write(b"lost")
    assert first.sent == b"beat"
    reading.stop()
