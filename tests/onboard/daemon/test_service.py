"""The service as it turns: what it records, notes, carries over and sends, with a link of ours."""

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from onboard.contract.commands import Command, Mark, Set
from onboard.daemon import service as service_module
from onboard.daemon.ending import Ending
from onboard.daemon.intake import Intake
from onboard.daemon.run_settings import Settings
from onboard.daemon.service import Service
from onboard.efficiency.advice.target import Aim
from onboard.profile import Link, Profile, load_profile
from onboard.record.marks import read_marks
from onboard.record.sessions import read_session
from onboard.record.subscriber import STRICT
from onboard.restarts.session_book import SessionBook
from onboard.restarts.trip_keeper import TripKeeper
from onboard.ride.learned_file import load
from onboard.telemetry.link import link_reader
from onboard.telemetry.link.base import Piece, Source
from onboard.telemetry.mavlink import packing
from onboard.telemetry.mavlink.signing import EPOCH_US, Signer, signature, ticks
from tests.onboard.small_rides import A_SECOND, PACK, PROFILE, START_US, second
from tests.small_streams import Sender

KEY = bytes(range(32))
CRAFT: Source = ("192.0.2.1", 14550)


class Reader:
    """A link that gives a second of telemetry at each turn, and keeps what is sent."""

    problem, dropped_bytes, received_s, waiting_bytes, answered = None, 0, None, 0, None

    def __init__(self) -> None:
        self.sender, self.turns, self.sent = Sender(), 0, bytearray()
        self.give: list[bytes] | None = None

    def take(self) -> list[Piece]:
        self.turns += 1
        stamp_us = START_US + self.turns * 1_000_000
        data = [second(self.turns, self.sender)] if self.give is None else self.give
        return [Piece(stamp_us, one, CRAFT) for one in data]

    def answer(self, source: Source | None) -> None:
        self.answered = source

    def write(self, data: bytes) -> None:
        self.sent += data


class Turning:
    """A service whose loop is turned by hand."""

    def __init__(self, folder: Path, profile: Profile = PROFILE, **more: Any) -> None:
        settings = Settings(
            profile, "udpin:127.0.0.1:0", 57600, None, ("127.0.0.1", 0), folder, **more
        )
        self.service, self.reader = Service(settings), Reader()
        self.service._open_book()
        assert self.service._book is not None
        self.book: SessionBook = self.service._book
        # Looked back already; the next turn finds it so.
        self.book.past.result(10)
        self.service._intake = Intake(self.reader, self.service._gate, self.service._clock)  # type: ignore[arg-type]
        self.service._intake.record_to(self.book.write)

    def turn(self, times: int = 1) -> None:
        for _ in range(times):
            self.service._tick(self.reader, "link")  # type: ignore[arg-type]

    def say(self, command: Command) -> bool:
        """Whether a command was done."""
        answers: list[bool] = []
        self.service._on_command(command, lambda why, _: answers.append(why is None))
        (done,) = answers
        return done

    def said(self) -> list[Command]:
        """The marks of the present session."""
        return [one.command for one in read_marks(self.book.folder)]


@pytest.fixture
def play(tmp_path: Path) -> Callable[..., None]:
    """Runs a scene with a service in it."""

    def run(scene: Callable[[Turning], Coroutine[Any, Any, None]], **more: Any) -> None:
        async def whole() -> None:
            turning = Turning(tmp_path, **more)
            try:
                await scene(turning)
            finally:
                turning.book.close(None)

        asyncio.run(whole())

    return run


def test_set_up_and_reserve_are_in_force_in_a_new_trip_and_noted_in_its_session(play) -> None:
    stays = [Set(0, "setup", "big propeller"), Set(0, "reserve_fraction", 0.35)]

    async def scene(there: Turning) -> None:
        there.turn(6)
        for command in (*stays, Set(3, "target_speed_mps", 2.5)):
            assert there.say(command)
        before = there.book.folder
        assert there.say(Mark(4, "new_trip"))
        ride = there.service._ride
        assert there.book.folder != before
        assert (ride.engine.learner.setup, ride.engine.reserve_fraction) == ("big propeller", 0.35)
        assert ride.engine.adviser.aim == Aim()
        # So they are in force after a restart, too.
        assert there.said() == stays
        note = read_session(there.book.folder)
        assert note is not None
        assert (note.continues, note.may_continue) == (None, None)

    play(scene)


def test_what_is_said_is_noted_with_its_place_where_it_was_done(play) -> None:
    async def scene(there: Turning) -> None:
        assert not there.say(Set(1, "home", "here"))  # nobody knows yet where that is
        there.turn(6)
        assert there.say(Set(2, "home", "here"))
        assert there.say(Mark(3, "note", "weed"))
        # What was not done is not noted.
        assert not there.say(Mark(4, "unplugged", source="battery 9"))
        home, note = there.said()
        assert isinstance(home, Set)
        assert home.value == pytest.approx((45.0, -30.0))
        assert note == Mark(3, "note", "weed")

    play(scene)


def test_no_new_trip_before_the_last_record_is_read(play) -> None:
    async def scene(there: Turning) -> None:
        folder = there.book.folder
        assert not there.service._keeper.caught_up
        assert not there.say(Mark(1, "new_trip"))
        assert there.book.folder == folder
        there.turn()
        assert there.say(Mark(2, "new_trip"))
        assert there.book.folder != folder

    play(scene)


def test_no_new_trip_while_a_card_refuses_the_record(play, monkeypatch) -> None:
    async def scene(there: Turning) -> None:
        there.turn(2)
        folder = there.book.folder
        with monkeypatch.context() as refuses:
            refuses.setattr(SessionBook, "behind", property(lambda _: True))
            assert not there.say(Mark(1, "new_trip"))
            assert there.book.folder == folder
        assert there.say(Mark(2, "new_trip"))
        assert there.book.folder != folder

    play(scene)


def test_a_command_that_fails_is_refused_and_the_figures_are_worked_out_again(
    play, monkeypatch
) -> None:
    monkeypatch.setenv(STRICT, "0")

    def fails(*_: object) -> None:
        raise ZeroDivisionError

    async def scene(there: Turning) -> None:
        there.turn(2)
        with monkeypatch.context() as broken:
            broken.setattr(service_module, "obey", fails)
            assert not there.say(Mark(1, "run_start"))
        assert there.service._keeper.why_none is not None
        assert there.said() == []

    play(scene)


def test_frames_that_the_figures_missed_are_made_up_for_from_the_record(play, monkeypatch) -> None:
    monkeypatch.setenv(STRICT, "0")

    async def scene(there: Turning) -> None:
        there.turn(2)
        assert there.service._intake is not None
        there.service._intake.fell_behind = True
        there.turn()
        assert there.service._keeper.why_none is not None
        assert not there.service._intake.fell_behind

    play(scene)


def test_a_profile_that_has_lost_its_battery_takes_no_pack_out_under_way(
    play, tmp_path: Path
) -> None:
    path = tmp_path / "craft.toml"
    path.write_text("[craft]\nname = 'half written'\n")

    async def scene(there: Turning) -> None:
        there.turn(2)
        there.service._reload()
        assert there.service._keeper._again is None
        path.write_text(f"[craft]\nname = 'whole'\n{PACK}")
        there.service._reload()
        again = there.service._keeper._again
        assert again is not None
        assert again.profile == load_profile(path)

    play(scene, profile_path=path)


@pytest.mark.parametrize("whole", [True, False])
def test_what_is_not_whole_is_not_written_down(play, monkeypatch, tmp_path, whole: bool) -> None:
    monkeypatch.setattr(TripKeeper, "is_whole", property(lambda _: whole))

    async def scene(there: Turning) -> None:
        there.turn(2)
        there.service._save(1e9, START_US)

    play(scene)
    assert (load(tmp_path) is not None) is whole


def test_the_key_is_kept_nowhere(play, tmp_path: Path) -> None:
    text = f"[link]\nsigning_key = '{KEY.hex()}'\n{PACK}"

    async def scene(there: Turning) -> None:
        there.turn(2)
        assert PACK in (there.book.folder / "profile.toml").read_text()

    play(scene, profile_text=text, profile=replace(PROFILE, link=Link(signing_key=KEY.hex())))
    for path in tmp_path.rglob("*.*"):
        assert path.is_dir() or KEY.hex().encode() not in path.read_bytes(), path


@pytest.mark.parametrize(
    ("link", "more", "sends"),
    [
        (Link(), {}, True),
        (Link(listen_only=True), {}, False),
        (Link(), {"listen_only": True}, False),
    ],
)
def test_who_only_listens_sends_nothing(play, link: Link, more: dict, sends: bool) -> None:
    async def scene(there: Turning) -> None:
        there.turn(6)
        assert there.service._ride.messages == 6 * A_SECOND
        assert bool(there.reader.sent) is sends

    play(scene, profile=replace(PROFILE, link=link), **more)


def test_what_is_sent_is_signed_later_than_what_was_heard(play) -> None:
    # The autopilot's clock is far ahead of the board's.
    ahead_us = EPOCH_US + 10**15
    beat = packing.pack(*packing.heartbeat(), 0, 1, 1, signer=Signer(KEY, lambda: ahead_us))

    async def scene(there: Turning) -> None:
        there.reader.give = [beat]
        there.turn()
        sent = bytes(there.reader.sent)
        stamp_ticks = int.from_bytes(sent[-12:-6], "little")
        assert sent[-13:] == signature(KEY, sent[:-13], 0, stamp_ticks)
        assert stamp_ticks >= ticks(ahead_us)

    play(scene, profile=replace(PROFILE, link=Link(signing_key=KEY.hex())))


@pytest.mark.parametrize("whole", [True, False])
def test_at_the_end_too_only_what_is_whole_is_written_down(
    tmp_path: Path, monkeypatch, whole: bool
) -> None:
    monkeypatch.setattr(link_reader, "WAIT_S", 0.01)
    monkeypatch.setattr(TripKeeper, "is_whole", property(lambda _: whole))
    monkeypatch.setattr(SessionBook, "save_if_due", lambda *_: False)

    class Quiet(Ending):
        def listen(self, *_: object) -> None:
            """The signals of these tests are not ours."""

    async def run() -> None:
        settings = Settings(PROFILE, "udpin:127.0.0.1:0", 57600, None, ("127.0.0.1", 0), tmp_path)
        service = Service(settings, Quiet())
        service._stop.set()
        await service.run()

    asyncio.run(run())
    assert (load(tmp_path) is not None) is whole
    (note,) = [read_session(one) for one in tmp_path.iterdir() if one.is_dir()]
    assert note is not None
    assert note.closed
