"""The pipeline tick by tick, over a simulated link: what it records, notes, carries over, sends."""

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from onboard.contract.commands import Command, Mark, Set
from onboard.daemon import pipeline as pipeline_module
from onboard.daemon.pipeline import Pipeline
from onboard.daemon.run_settings import Settings
from onboard.efficiency.advice.target import Aim
from onboard.profile import LinkSettings, Profile, load_profile
from onboard.record.marks import read_marks
from onboard.record.sessions import read_session
from onboard.record.subscriber import STRICT
from onboard.restarts.session_book import SessionBook
from onboard.restarts.trip_keeper import TripKeeper
from onboard.ride.learned_file import load
from onboard.telemetry.link.base import Piece, Source
from onboard.telemetry.link.stamp_clock import StampClock
from onboard.telemetry.mavlink import packing
from onboard.telemetry.mavlink.signing import EPOCH_US, Signer, signature, ticks
from tests.onboard.small_rides import A_SECOND, PACK, PROFILE, START_US, second
from tests.small_streams import Sender

KEY = bytes(range(32))
CRAFT: Source = ("192.0.2.1", 14550)


class Reader:
    """A link reader that yields a second of telemetry per call, and records what is sent."""

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
    """A pipeline that is ticked by hand."""

    def __init__(self, folder: Path, profile: Profile = PROFILE, **more: Any) -> None:
        settings = Settings(
            profile, "udpin:127.0.0.1:0", 57600, None, ("127.0.0.1", 0), folder, **more
        )
        self.reader = Reader()
        self.pipeline = Pipeline(settings, self.reader, "link", StampClock())  # type: ignore[arg-type]
        self.pipeline.begin()
        # Earlier sessions have been read; the next tick notices it.
        self.book.past.result(10)

    @property
    def book(self) -> SessionBook:
        assert self.pipeline.book is not None
        return self.pipeline.book

    def turn(self, times: int = 1) -> None:
        for _ in range(times):
            # By hand there is no time between two ticks: each of them folds.
            self.pipeline.rhythm.fold_soon()
            self.pipeline.tick()

    def execute(self, command: Command) -> bool:
        """Return whether a command was executed."""
        answers: list[bool] = []
        self.pipeline.on_command(command, lambda why, _: answers.append(why is None))
        (done,) = answers
        return done

    def noted_commands(self) -> list[Command]:
        """Return the commands noted in the present session."""
        return [one.command for one in read_marks(self.book.folder)]


@pytest.fixture
def play(tmp_path: Path) -> Callable[..., None]:
    """Run a scene with a pipeline."""

    def run(scene: Callable[[Turning], Coroutine[Any, Any, None]], **more: Any) -> None:
        async def whole() -> None:
            turning = Turning(tmp_path, **more)
            try:
                await scene(turning)
            finally:
                turning.book.close(None)

        asyncio.run(whole())

    return run


def test_set_up_and_reserve_carry_over_to_a_new_trip_and_its_notes(play) -> None:
    stays = [Set(0, "setup", "big propeller"), Set(0, "reserve_fraction", 0.35)]

    async def scene(there: Turning) -> None:
        there.turn(6)
        for command in (*stays, Set(3, "target_speed_mps", 2.5)):
            assert there.execute(command)
        before = there.book.folder
        assert there.execute(Mark(4, "new_trip"))
        ride = there.pipeline.ride
        assert there.book.folder != before
        assert (ride.engine.learner.setup, ride.engine.reserve_fraction) == ("big propeller", 0.35)
        assert ride.engine.adviser.aim == Aim()
        # Therefore they are in force after a restart, too.
        assert there.noted_commands() == stays
        note = read_session(there.book.folder)
        assert note is not None
        assert (note.continues, note.may_continue) == (None, None)

    play(scene)


def test_executed_commands_are_noted_with_their_place(play) -> None:
    async def scene(there: Turning) -> None:
        assert not there.execute(Set(1, "home", "here"))  # nobody knows yet where that is
        there.turn(6)
        assert there.execute(Set(2, "home", "here"))
        assert there.execute(Mark(3, "note", "weed"))
        # A refused command is not noted.
        assert not there.execute(Mark(4, "unplugged", source="battery 9"))
        home, note = there.noted_commands()
        assert isinstance(home, Set)
        assert home.value == pytest.approx((45.0, -30.0))
        assert note == Mark(3, "note", "weed")

    play(scene)


def test_no_new_trip_before_the_last_record_is_read(play) -> None:
    async def scene(there: Turning) -> None:
        folder = there.book.folder
        assert not there.pipeline.keeper.caught_up
        assert not there.execute(Mark(1, "new_trip"))
        assert there.book.folder == folder
        there.turn()
        assert there.execute(Mark(2, "new_trip"))
        assert there.book.folder != folder

    play(scene)


def test_no_new_trip_while_the_card_is_behind(play, monkeypatch) -> None:
    async def scene(there: Turning) -> None:
        there.turn(2)
        folder = there.book.folder
        with monkeypatch.context() as refuses:
            refuses.setattr(SessionBook, "behind", property(lambda _: True))
            assert not there.execute(Mark(1, "new_trip"))
            assert there.book.folder == folder
        assert there.execute(Mark(2, "new_trip"))
        assert there.book.folder != folder

    play(scene)


def test_a_failing_command_is_refused_and_the_figures_are_rebuilt(play, monkeypatch) -> None:
    monkeypatch.setenv(STRICT, "0")

    def fails(*_: object) -> None:
        raise ZeroDivisionError

    async def scene(there: Turning) -> None:
        there.turn(2)
        with monkeypatch.context() as broken:
            broken.setattr(pipeline_module, "apply_command", fails)
            assert not there.execute(Mark(1, "run_start"))
        assert there.pipeline.keeper.why_none is not None
        assert there.noted_commands() == []

    play(scene)


def test_frames_that_the_figures_missed_are_taken_from_the_record(play, monkeypatch) -> None:
    monkeypatch.setenv(STRICT, "0")

    async def scene(there: Turning) -> None:
        there.turn(2)
        there.pipeline.intake.fell_behind = True
        there.turn()
        assert there.pipeline.keeper.why_none is not None
        assert not there.pipeline.intake.fell_behind

    play(scene)


def test_a_reloaded_profile_without_battery_is_refused_under_way(play, tmp_path: Path) -> None:
    path = tmp_path / "craft.toml"
    path.write_text("[craft]\nname = 'half written'\n")

    async def scene(there: Turning) -> None:
        there.turn(2)
        there.pipeline.reload()
        assert there.pipeline.keeper.refolding is None
        path.write_text(f"[craft]\nname = 'whole'\n{PACK}")
        there.pipeline.reload()
        refolding = there.pipeline.keeper.refolding
        assert refolding is not None
        assert refolding.profile == load_profile(path)

    play(scene, profile_path=path)


@pytest.mark.parametrize("whole", [True, False])
def test_incomplete_figures_are_not_saved(play, monkeypatch, tmp_path, whole: bool) -> None:
    monkeypatch.setattr(TripKeeper, "is_whole", property(lambda _: whole))

    async def scene(there: Turning) -> None:
        there.turn(2)
        there.pipeline.save_notes(1e9, START_US)

    play(scene)
    assert (load(tmp_path) is not None) is whole


def test_the_signing_key_is_written_nowhere(play, tmp_path: Path) -> None:
    text = f"[link]\nsigning_key = '{KEY.hex()}'\n{PACK}"

    async def scene(there: Turning) -> None:
        there.turn(2)
        assert PACK in (there.book.folder / "profile.toml").read_text()

    play(
        scene, profile_text=text, profile=replace(PROFILE, link=LinkSettings(signing_key=KEY.hex()))
    )
    for path in tmp_path.rglob("*.*"):
        assert path.is_dir() or KEY.hex().encode() not in path.read_bytes(), path


@pytest.mark.parametrize(
    ("link", "more", "sends"),
    [
        (LinkSettings(), {}, True),
        (LinkSettings(listen_only=True), {}, False),
        (LinkSettings(), {"listen_only": True}, False),
    ],
)
def test_listen_only_sends_nothing(play, link: LinkSettings, more: dict, sends: bool) -> None:
    async def scene(there: Turning) -> None:
        there.turn(6)
        assert there.pipeline.ride.messages == 6 * A_SECOND
        assert bool(there.reader.sent) is sends

    play(scene, profile=replace(PROFILE, link=link), **more)


def test_signatures_are_later_than_those_received(play) -> None:
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

    play(scene, profile=replace(PROFILE, link=LinkSettings(signing_key=KEY.hex())))
