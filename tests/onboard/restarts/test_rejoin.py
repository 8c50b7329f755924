"""A daemon that was away goes on with the trip as if it had not been."""

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np

from onboard.profile import load_profile
from onboard.restarts.rejoin import (
    CARRIED_NAME,
    Session,
    carried_text,
    load_carried,
    refold,
    replay,
)
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import RECORD_NAME, record_name
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames, joined
from tests.onboard.small_rides import A_SECOND, heard
from tests.wire import wire

LOGS = Path(__file__).parents[3] / "replay_logs"
PROFILE = load_profile(LOGS / "harbour_loop.toml")
HALF_S, AWAY_S = 200.0, 15.0


def parts() -> tuple[Frames, Frames]:
    """The harbour loop's frames up to half of it, and from a quarter of a minute later on."""
    (frames,) = [part for part in read_log(LOGS / "harbour_loop.tlog", 1 << 24) if len(part)]
    since_s = (frames.stamp_us - frames.stamp_us[0]) * 1e-6
    return frames.where(since_s < HALF_S), frames.where(since_s >= HALF_S + AWAY_S)


def snapshot(ride: Ride) -> dict[str, Any]:
    ride.finish()
    taken: dict[str, Any] = json.loads(json.dumps(wire(ride.snapshot("x", age_s=0.0))))
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
    (tmp_path / "a" / RECORD_NAME).rename(tmp_path / "a" / "away.tlog")
    (tmp_path / "a" / record_name(2)).write_bytes(first.records())
    refold(begin, sessions)
    assert f"{RECORD_NAME} missing: this part of the trip is in no sum" in caplog.text
    (tmp_path / "a" / record_name(2)).unlink()
    (tmp_path / "a" / "away.tlog").rename(tmp_path / "a" / RECORD_NAME)
    (tmp_path / "b" / RECORD_NAME).unlink()
    alone = Ride(PROFILE)
    alone.take(first)
    assert snapshot(refold(begin, sessions)) == snapshot(alone)
    assert "this part of the trip is missing" in caplog.text


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


def test_what_was_said_counts_though_nothing_was_recorded(tmp_path: Path) -> None:
    first, _ = parts()
    mute = session(tmp_path / "a", first)
    (mute.folder / RECORD_NAME).write_bytes(b"")
    said = [MarkAt(0)]
    with_mark = refold(begin, [Session(mute.folder, said), session(tmp_path / "b", first)])
    assert snapshot(with_mark)["wh_per_km"]["since_mark"] is not None


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


def test_what_was_said_comes_behind_the_frames_that_it_was_said_behind() -> None:
    parts = heard(0, 4)
    (second,) = {int(stamp) for stamp in parts[1].stamp_us}
    said: list[int] = []

    @dataclasses.dataclass(frozen=True)
    class Note:
        stamp_us: int

        def apply(self, ride: Ride) -> None:
            said.append(ride.messages)

    notes = [Note(second), Note(second - 1), Note(second + 1)]
    for windows in (parts, [joined(parts)]):
        said.clear()
        replay(Ride(PROFILE), windows, notes)
        assert said == [A_SECOND, 2 * A_SECOND, 2 * A_SECOND]
