"""Charge drawn or stated since the last save counts once; that before it is not counted again."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from onboard.contract.commands import Mark
from onboard.profile import Profile
from onboard.record.marks import TimedCommand
from onboard.restarts.learned_update import update_learned
from onboard.restarts.refold import CARRIED_NAME, Session, carried_text
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import joined
from tests.onboard.small_rides import PROFILE, received, session

A_SECOND = 50.0 * 6.0 / 3600.0 / 1000.0
"""Share of the pack's 1000 Wh drawn per second, at 50 V and 6 A."""
NEAR = 4 * A_SECOND
"""Tolerance: a sample on each side of a join counts for neither, and voltage sags a little."""


def rode(seconds: int, commands: Sequence[TimedCommand] = ()) -> Ride:
    """Return a ride of some seconds, with these commands."""
    ride, frames = Ride(PROFILE), joined(received(0, seconds))
    for one in commands:
        ride.take(frames.where(frames.stamp_us <= one.stamp_us))
        one.apply(ride)
        frames = frames.where(frames.stamp_us > one.stamp_us)
    ride.take(frames)
    return ride


def saved(seconds: int, where: Session, commands: Sequence[TimedCommand] = ()) -> dict[str, Any]:
    """Return the state saved after some seconds."""
    at = {"stamp_us": stamp(seconds), "session": where.folder.name, "marks": len(commands)}
    return {**rode(seconds, commands).saved_state(), "at": at}


def stamp(seconds: int) -> int:
    return int(received(seconds - 1, seconds)[0].stamp_us[-1])


def half_full(at: int) -> TimedCommand:
    return TimedCommand(None, stamp(at), None, Mark(1, "charged", amount=("left_fraction", 0.5)))


def fraction(kept: dict[str, Any] | None) -> float:
    assert kept is not None
    found: float = kept["battery"]["fraction"]
    return found


def test_the_figures_of_these_tests_are_those_of_the_pack() -> None:
    assert 1.0 - fraction(rode(60).saved_state()) == pytest.approx(60 * A_SECOND, rel=0.1)
    drawn = 0.5 - fraction(rode(60, [half_full(20)]).saved_state())
    assert drawn == pytest.approx(40 * A_SECOND, rel=0.15)


def test_charge_drawn_since_the_save_counts_once(tmp_path: Path) -> None:
    last = session(tmp_path, received(0, 60))
    kept = update_learned(PROFILE, None, saved(30, last), [last])
    assert fraction(kept) == pytest.approx(fraction(rode(60).saved_state()), abs=NEAR)


def test_charge_drawn_in_later_sessions_counts_too(tmp_path: Path) -> None:
    first = session(tmp_path, received(0, 30))
    later = session(tmp_path, received(30, 60))
    kept = update_learned(PROFILE, None, saved(20, first), [first, later])
    assert fraction(kept) == pytest.approx(fraction(rode(60).saved_state()), abs=NEAR)


@pytest.mark.parametrize(("given_at", "saved_at"), [(45, 30), (20, 30), (20, 50)])
def test_a_charge_stated_counts_once(tmp_path: Path, given_at: int, saved_at: int) -> None:
    commands = [half_full(given_at)]
    last = replace(session(tmp_path, received(0, 60)), actions=commands)
    before = commands if given_at < saved_at else []
    kept = update_learned(PROFILE, None, saved(saved_at, last, before), [last])
    assert fraction(kept) == pytest.approx(fraction(rode(60, commands).saved_state()), abs=NEAR)


def test_a_trip_in_which_nothing_was_saved_counts_from_its_beginning(tmp_path: Path) -> None:
    first = session(tmp_path, received(0, 30))
    last = session(tmp_path, received(30, 60), anew=True)
    kept = saved(20, first)
    # The new trip began with everything drawn in the first.
    (last.folder / CARRIED_NAME).write_text(carried_text(rode(30).saved_state()))
    found = update_learned(PROFILE, None, kept, [last])
    assert fraction(found) == pytest.approx(fraction(rode(60).saved_state()), abs=NEAR)


def test_without_a_save_the_records_are_used(tmp_path: Path) -> None:
    last = session(tmp_path, received(0, 60))
    kept = update_learned(PROFILE, None, None, [last])
    assert fraction(kept) == pytest.approx(fraction(rode(60).saved_state()), abs=NEAR)
    assert kept is not None
    assert kept["curves"] is None
    # The file was deleted to forget: nothing of the pack comes back from the records.
    assert kept["battery"]["covariance"] is None
    assert "gain_readings" not in kept["battery"]
    assert Ride(PROFILE, saved=kept).saved_state()["battery"]["fraction"] == fraction(kept)


def test_an_up_to_date_save_is_unchanged(tmp_path: Path) -> None:
    last = session(tmp_path, received(0, 60))
    kept = saved(60, last)
    assert update_learned(PROFILE, None, kept, [last]) is kept
    assert update_learned(PROFILE, None, kept, []) is kept
    assert update_learned(Profile(), None, kept, [last]) is kept
