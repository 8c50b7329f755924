"""The present ride: continues after a restart or with another profile, or starts over."""

import asyncio
import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from onboard.profile import Battery, Profile
from onboard.restarts.refold import Session
from onboard.restarts.trip_keeper import TripKeeper
from onboard.restarts.trip_sessions import look_back
from onboard.ride.ride import Ride
from tests.onboard.restarts.harbour_loop import PROFILE, parts, session, snapshot
from tests.onboard.small_rides import done

pytestmark = pytest.mark.slow


def kept_of(ride: Ride) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(json.dumps(ride.saved_state()))
    return kept


async def changes(keeper: TripKeeper, now_s: float = 100.0, tries: int = 400) -> bool:
    """Poll until the ride changes; return whether it did."""
    for _ in range(tries):
        if keeper.poll(now_s):
            return True
        await asyncio.sleep(0.02)
        now_s += 0.2
    return False


def before(tmp_path: Path) -> tuple[dict[str, Any], Session]:
    """Return the state and session left by a daemon killed halfway round the loop."""
    first, _ = parts()
    ride = Ride(PROFILE)
    ride.take(first)
    return kept_of(ride), session(tmp_path / "a", first)


def test_a_restart_in_mid_trip_does_not_show_in_the_figures(tmp_path: Path) -> None:
    kept, earlier = before(tmp_path)
    first, second = parts()
    through = Ride(PROFILE)
    through.take(first)
    through.take(second)

    async def run() -> TripKeeper:
        keeper = TripKeeper(
            PROFILE,
            None,
            kept,
            done(dataclasses.replace(look_back(earlier.folder), saved_state=kept)),
        )
        third = len(second) // 3
        keeper.take([second.where(slice(0, third))], 0)
        assert await changes(keeper)
        keeper.take([second.where(slice(third, None))], 0)
        return keeper

    keeper = asyncio.run(run())
    assert [one.folder.name for one in keeper.sessions] == ["a"]
    assert snapshot(keeper.ride) == snapshot(through)
    line = keeper.ride.engine.trip_line
    assert line == through.engine.trip_line
    assert sum(place is not None for place in line.position_deg) > 100


def test_nothing_is_saved_before_the_last_ride_is_included(tmp_path: Path) -> None:
    kept, earlier = before(tmp_path)
    old = kept_of(Ride(PROFILE))

    async def run() -> tuple[TripKeeper, list[bool]]:
        past = done(dataclasses.replace(look_back(earlier.folder), saved_state=kept))
        keeper = TripKeeper(PROFILE, None, old, past)
        whole = [keeper.is_whole]
        assert not keeper.poll(100.0)
        # The last ride is found, but the present ride began without it.
        whole.append(keeper.is_whole)
        assert await changes(keeper)
        return keeper, whole

    keeper, whole = asyncio.run(run())
    assert whole == [False, False]
    assert keeper.is_whole


def test_an_autopilot_that_restarted_begins_a_new_trip(tmp_path: Path) -> None:
    kept, _ = before(tmp_path)
    first, second = parts()
    # The boot clock is behind that of the record's end.
    earlier = session(tmp_path / "b", second)
    alone = Ride(PROFILE, saved={"curves": kept["curves"]})
    alone.take(first)

    async def run() -> TripKeeper:
        keeper = TripKeeper(
            PROFILE,
            None,
            kept,
            done(dataclasses.replace(look_back(earlier.folder), saved_state=kept)),
        )
        keeper.take([first], 0)
        assert not keeper.poll(100.0)
        assert not keeper.poll(130.0)
        return keeper

    keeper = asyncio.run(run())
    assert keeper.sessions == ()
    assert snapshot(keeper.ride)["trip"] == snapshot(alone)["trip"]


def test_another_profile_applies_as_from_the_start(tmp_path: Path) -> None:
    first, second = parts()
    other = dataclasses.replace(PROFILE, battery=Battery("li-ion", 14, 60.0))
    expected = Ride(other)
    expected.take(first)
    expected.take(second)

    async def run() -> TripKeeper:
        now = session(tmp_path / "now", first)
        keeper = TripKeeper(
            PROFILE, present=lambda until_us: dataclasses.replace(now, until_us=until_us)
        )
        keeper.take([first], 0)
        keeper.reload(other)
        keeper.take([second], 0)
        assert await changes(keeper)
        return keeper

    keeper = asyncio.run(run())
    assert keeper.profile == other
    assert snapshot(keeper.ride) == snapshot(expected)


def test_without_a_record_another_profile_starts_over() -> None:
    first, _ = parts()
    keeper = TripKeeper(PROFILE)
    keeper.take([first], 0)
    keeper.reload(Profile())
    assert keeper.profile == Profile()
    assert keeper.ride.messages == 0


def test_a_new_trip_abandons_the_refold_and_keeps_its_profile(tmp_path: Path) -> None:
    kept, earlier = before(tmp_path)
    _, second = parts()
    other = dataclasses.replace(PROFILE, battery=Battery("li-ion", 14, 60.0))

    async def run() -> TripKeeper:
        now = session(tmp_path / "now", second)
        keeper = TripKeeper(
            PROFILE,
            None,
            kept,
            done(dataclasses.replace(look_back(earlier.folder), saved_state=kept)),
            present=lambda until_us: dataclasses.replace(now, until_us=until_us),
        )
        keeper.take([second], 0)
        assert not keeper.poll(100.0)
        assert keeper.sessions  # the trip goes on, and its records are being folded
        keeper.reload(other)
        keeper.new_trip()
        keeper.take([second.where(slice(0, 0))], 0)
        assert not await changes(keeper, tries=150)
        return keeper

    keeper = asyncio.run(run())
    assert keeper.sessions == ()
    assert keeper.ride.messages == 0
    assert keeper.profile == other


def test_a_new_trip_keeps_curves_and_battery_and_counts_from_nothing() -> None:
    first, second = parts()
    keeper = TripKeeper(PROFILE)
    keeper.take([first], 0)
    before = keeper.ride.snapshot("x", age_s=0.0)
    kept = keeper.ride.saved_state()
    keeper.new_trip()
    keeper.take([second], 0)
    alone = Ride(PROFILE, saved=kept)
    alone.take(second)
    assert snapshot(keeper.ride) == snapshot(alone)
    after = keeper.ride.snapshot("x", age_s=0.0)
    # The pack does not count as full, and the way home is not too long.
    assert after.battery.left_wh.value < before.battery.left_wh.value
