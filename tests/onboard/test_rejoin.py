"""A daemon that was away goes on with the trip as if it had not been."""

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from onboard.kept import Clocks
from onboard.profile import load_profile
from onboard.rejoin import (
    CARRIED_NAME,
    Rejoin,
    Session,
    carried_text,
    last_clocks,
    load_carried,
    refold,
    replay,
)
from onboard.ride import Ride
from onboard.telemetry.frames import Frames
from onboard.telemetry.log_files import RECORD_NAME
from onboard.telemetry.telemetry_log import read_log

LOGS = Path(__file__).parents[2] / "replay_logs"
PROFILE = load_profile(LOGS / "harbour_loop.toml")
HALF_S, AWAY_S = 200.0, 15.0


def parts() -> tuple[Frames, Frames]:
    """The harbour loop's frames up to half of it, and from a quarter of a minute later on."""
    (frames,) = [part for part in read_log(LOGS / "harbour_loop.tlog", 1 << 24) if len(part)]
    since_s = (frames.stamp_us - frames.stamp_us[0]) * 1e-6
    return frames.where(since_s < HALF_S), frames.where(since_s >= HALF_S + AWAY_S)


def snapshot(ride: Ride) -> dict[str, Any]:
    ride.finish()
    taken: dict[str, Any] = json.loads(json.dumps(ride.snapshot("x", age_s=0.0).as_dict()))
    return {key: value for key, value in taken.items() if key != "link"}


def session(folder: Path, frames: Frames) -> Session:
    folder.mkdir()
    (folder / RECORD_NAME).write_bytes(frames.records())
    (folder / CARRIED_NAME).write_text(carried_text(None))
    return Session(folder)


def begin(kept: dict | None) -> Ride:
    return Ride(PROFILE, kept=kept)


def test_all_figures_are_those_of_a_daemon_that_never_stopped(tmp_path: Path) -> None:
    first, second = parts()
    through = Ride(PROFILE)
    through.take(first)
    through.take(second)
    rejoined = refold(begin, [session(tmp_path / "a", first)])
    rejoined.take(second)
    assert snapshot(rejoined) == snapshot(through)


def test_a_chain_of_sessions_and_an_unreadable_one(tmp_path: Path, caplog) -> None:
    first, second = parts()
    sessions = [session(tmp_path / "a", first), session(tmp_path / "b", second)]
    through = Ride(PROFILE)
    through.take(first)
    through.take(second)
    assert snapshot(refold(begin, sessions)) == snapshot(through)
    (tmp_path / "b" / RECORD_NAME).write_bytes(b"")
    alone = Ride(PROFILE)
    alone.take(first)
    assert snapshot(refold(begin, sessions)) == snapshot(alone)
    assert "this part of the trip is missing" in caplog.text


def test_the_clocks_are_read_from_the_records_end(tmp_path: Path) -> None:
    first, _ = parts()
    ride = Ride(PROFILE)
    ride.take(first)
    ride.finish()
    found = last_clocks(session(tmp_path / "a", first).folder)
    assert found.boot_s == pytest.approx(ride.clocks.boot_s, abs=0.01)
    assert found.utc_s == pytest.approx(ride.clocks.utc_s, abs=0.3)
    (tmp_path / "a" / RECORD_NAME).write_bytes(b"")
    assert np.isnan(last_clocks(tmp_path / "a").boot_s)


@dataclasses.dataclass(frozen=True)
class MarkAt:
    stamp_us: int

    def apply(self, ride: Ride) -> None:
        ride.engine.mark()


def test_what_was_said_is_done_again_at_its_time() -> None:
    first, _ = parts()
    since_s = (first.stamp_us - first.stamp_us[0]) * 1e-6
    at = int(np.flatnonzero(since_s >= 90.0)[0])
    live, again = Ride(PROFILE), Ride(PROFILE)
    live.take(first.where(np.arange(at)))
    live.engine.mark()
    live.take(first.where(np.arange(at, len(first))))
    replay(again, [first], [MarkAt(int(first.stamp_us[at - 1]))])
    marked = snapshot(live)["wh_per_km"]["since_mark"]
    assert marked is not None
    assert snapshot(again)["wh_per_km"]["since_mark"] == marked


def test_what_was_said_before_and_behind_all_frames_is_done_too() -> None:
    first, _ = parts()
    said: list[int] = []

    @dataclasses.dataclass(frozen=True)
    class Note:
        stamp_us: int

        def apply(self, ride: Ride) -> None:
            said.append(ride.messages)

    stamps = first.stamp_us
    notes = [Note(int(stamps[-1]) + 5), Note(int(stamps[0]) - 5), Note(int(stamps[0]) - 4)]
    replay(Ride(PROFILE), [first], notes)
    assert said == [0, 0, len(first)]


def test_the_curve_is_not_learned_twice(tmp_path: Path) -> None:
    first, _ = parts()
    before = Ride(PROFILE)
    before.take(first)
    carried = before.kept()
    folder = session(tmp_path / "a", first).folder
    (folder / CARRIED_NAME).write_text(carried_text(carried))
    assert load_carried(folder) == json.loads(json.dumps(carried))
    expected = Ride(PROFILE, kept=carried)
    expected.take(first)
    assert snapshot(refold(begin, [Session(folder)])) == snapshot(expected)


@pytest.mark.parametrize(
    ("now", "later_s", "verdict"),
    [
        (Clocks(float("nan"), float("nan"), float("nan")), 0.0, None),
        (Clocks(630.0, 1.75e9 + 30.0, float("nan")), 0.0, True),
        (Clocks(20.0, 1.75e9 + 30.0, float("nan")), 0.0, False),
        (Clocks(630.0, float("nan"), float("nan")), 5.0, None),
        (Clocks(630.0, float("nan"), float("nan")), 25.0, True),
    ],
)
def test_the_autopilots_clocks_decide(now: Clocks, later_s: float, verdict: bool | None) -> None:
    rejoin = Rejoin(Clocks(600.0, 1.75e9, 2.0))
    rejoin.verdict(now, 100.0)
    assert rejoin.verdict(now, 100.0 + later_s) is verdict
