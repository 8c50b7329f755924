"""While records are being refolded, no frame, command or target is lost."""

import asyncio
import dataclasses
from pathlib import Path

import pytest

from onboard.contract.commands import Set
from onboard.efficiency.advice.target import Aim
from onboard.record.marks import timed_command
from onboard.restarts import refold_task
from onboard.restarts.refold import CARRIED_NAME, Session
from onboard.restarts.trip_keeper import TripKeeper
from onboard.restarts.trip_sessions import look_back
from onboard.ride.commands import apply_command
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames
from tests.onboard.small_rides import (
    A_SECOND,
    OTHER,
    PROFILE,
    START_US,
    done,
    learned,
    received,
    session,
)
from tests.small_streams import Sender

AIM = Aim(distance_m=3000.0)
COMMAND = Set(1, "target_speed_mps", 2.5)


def keeper(record: Session | None = None, **more: object) -> TripKeeper:
    """Return a keeper with this as its present record."""

    def present(until_us: int) -> Session | None:
        return record and dataclasses.replace(record, until_us=until_us)

    return TripKeeper(PROFILE, present=present, **more)  # type: ignore[arg-type]


def take(one: TripKeeper, parts: list[Frames]) -> None:
    one.take(parts, START_US)


def give(one: TripKeeper, command: Set = COMMAND) -> None:
    """Apply a command to the present ride, and add it to the keeper, as the service does."""
    timed = timed_command(command, one.ride, one.last_stamp_us)
    assert apply_command(command, one.ride, lambda: None) is None
    one.add(timed)


async def folded(one: TripKeeper, now_s: float = 100.0) -> bool:
    """Wait for the fold under way; return whether the ride changed."""
    assert one.refolding is not None
    await asyncio.wait({one.refolding.task})
    return one.poll(now_s)


def aim_of(ride: Ride) -> Aim:
    return ride.engine.adviser.aim


def test_a_new_trip_is_not_replaced_by_the_old_one_that_is_being_folded(tmp_path: Path) -> None:
    async def run() -> None:
        first = received(0, 6)
        one = keeper(session(tmp_path, first))
        take(one, first)
        one.reload(OTHER)
        assert one.refolding is not None
        folding = one.refolding.task
        one.new_trip()
        new = one.ride
        await asyncio.wait({folding})
        assert not one.poll(100.0)
        assert one.ride is new
        assert (new.messages, one.profile, one.sessions) == (0, OTHER, ())

    asyncio.run(run())


def test_frames_and_commands_that_come_meanwhile_are_in_the_new_ride(
    tmp_path: Path,
) -> None:
    async def run() -> None:
        first = received(0, 6)
        one = keeper(session(tmp_path, first))
        take(one, first)
        one.reload(OTHER)
        take(one, received(6, 9))
        give(one)
        old = one.ride
        assert await folded(one)
        assert one.ride is not old
        assert one.ride.messages == 9 * A_SECOND
        assert aim_of(one.ride) == Aim(speed_mps=2.5)

    asyncio.run(run())


def test_the_aim_given_at_the_start_is_that_of_a_ride_that_is_folded(tmp_path: Path) -> None:
    async def run() -> None:
        first = received(0, 6)
        one = keeper(session(tmp_path, first), aim=AIM)
        take(one, first)
        one.reload(OTHER)
        assert await folded(one)
        assert aim_of(one.ride) == AIM
        one.new_trip()
        assert aim_of(one.ride) == AIM

    asyncio.run(run())


def test_a_command_given_before_the_trip_is_known_is_not_lost(tmp_path: Path) -> None:
    async def run() -> None:
        earlier = session(tmp_path, received(0, 6))
        one = keeper(None, past=done(look_back(earlier.folder)))
        # The autopilot has not sent yet: nothing can be decided.
        assert not one.poll(100.0)
        give(one)
        take(one, received(8, 13))
        assert not one.poll(101.0)
        assert [part.folder for part in one.sessions] == [earlier.folder]
        assert await folded(one)
        assert one.ride.messages == (6 + 5) * A_SECOND
        assert aim_of(one.ride) == Aim(speed_mps=2.5)

    asyncio.run(run())


def test_a_new_trip_leaves_the_earlier_sessions_behind(tmp_path: Path) -> None:
    async def run() -> None:
        past = done(look_back(session(tmp_path, received(0, 6)).folder))
        one = keeper(session(tmp_path, received(20, 24), anew=True), past=past)
        take(one, received(8, 13))
        one.poll(100.0)
        assert one.sessions
        assert await folded(one)
        one.new_trip()
        take(one, received(20, 24))
        one.reload(OTHER)
        assert await folded(one)
        assert (one.sessions, one.ride.messages) == ((), 4 * A_SECOND)

    asyncio.run(run())


def test_a_new_trip_is_of_the_same_craft() -> None:
    one = keeper()
    take(one, received(0, 6))
    assert one.ride.decoder.craft.system_id == 1
    one.new_trip()
    # Another craft sends first, and more.
    take(one, received(6, 16, Sender(system=7)))
    take(one, received(6, 9))
    assert one.ride.decoder.craft.system_id == 1


def test_a_refold_begins_with_the_state_its_trip_began_with(tmp_path: Path) -> None:
    async def run() -> None:
        before = Ride(PROFILE)
        for part in received(0, 6):
            before.take(part)
        kept = before.saved_state()
        second = received(6, 9)
        record = session(tmp_path, second)
        # The file beside the record is not written yet, or not up to date.
        assert not (record.folder / CARRIED_NAME).exists()
        one = keeper(record, saved=kept)
        take(one, second)
        one.reload(PROFILE)
        assert await folded(one)
        through = Ride(PROFILE, saved=kept)
        for part in second:
            through.take(part)
        assert one.ride.saved_state() == through.saved_state()
        assert through.saved_state()["battery"] != Ride(PROFILE).saved_state()["battery"]

    asyncio.run(run())


def test_without_a_record_the_battery_s_count_goes_on_and_no_curve_does() -> None:
    one = keeper()
    take(one, [learned()])
    before = one.ride.saved_state()
    assert before["curves"]
    one.reload(OTHER)
    assert one.profile == OTHER
    after = one.ride.saved_state()
    assert not after["curves"]
    assert after["battery"] == before["battery"] != Ride(PROFILE).saved_state()["battery"]


def test_frames_beyond_the_buffer_are_read_from_the_record_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refold_task, "BACKLOG_MOST_FRAMES", 5 * A_SECOND)

    async def run() -> None:
        parts = received(0, 12)
        one = keeper(session(tmp_path, parts))
        take(one, parts[:5])
        one.reload(OTHER)
        first = one.refolding
        take(one, parts[5:11])
        assert not one.poll(100.0)
        assert one.refolding is not None
        assert one.refolding is not first
        assert one.refolding.backlog.parts == []
        take(one, parts[11:])
        assert await folded(one)
        assert (one.ride.messages, one.profile) == (12 * A_SECOND, OTHER)

    asyncio.run(run())
