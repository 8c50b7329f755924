"""Records folded again give the figures of a daemon that never stopped."""

import dataclasses
import json
from pathlib import Path

import numpy as np

from onboard.restarts.refold import (
    CARRIED_NAME,
    Session,
    carried_text,
    load_carried,
    refold,
    replay,
)
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import RECORD_NAME, record_name
from onboard.telemetry.mavlink.frames import joined
from tests.onboard.restarts.harbour_loop import PROFILE, parts, session, snapshot
from tests.onboard.small_rides import A_SECOND, received


def begin(kept: dict | None) -> Ride:
    return Ride(PROFILE, saved=kept)


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


def test_an_action_is_applied_again_at_its_stamp() -> None:
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


def test_actions_before_and_behind_all_frames_are_applied_too() -> None:
    first, _ = parts()
    messages: list[int] = []

    @dataclasses.dataclass(frozen=True)
    class Note:
        stamp_us: int

        def apply(self, ride: Ride) -> None:
            messages.append(ride.messages)

    stamps = first.stamp_us
    notes = [Note(int(stamps[-1]) + 5), Note(int(stamps[0]) - 5), Note(int(stamps[0]) - 4)]
    replay(Ride(PROFILE), [first], notes)
    assert messages == [0, 0, len(first)]


def test_actions_count_though_nothing_was_recorded(tmp_path: Path) -> None:
    first, _ = parts()
    silent = session(tmp_path / "a", first)
    (silent.folder / RECORD_NAME).write_bytes(b"")
    actions = [MarkAt(0)]
    with_mark = refold(begin, [Session(silent.folder, actions), session(tmp_path / "b", first)])
    assert snapshot(with_mark)["wh_per_km"]["since_mark"] is not None


def test_the_curve_is_not_learned_twice(tmp_path: Path) -> None:
    first, _ = parts()
    before = Ride(PROFILE)
    before.take(first)
    carried = before.saved_state()
    folder = session(tmp_path / "a", first).folder
    (folder / CARRIED_NAME).write_text(carried_text(carried))
    assert load_carried(folder) == json.loads(json.dumps(carried))
    expected = Ride(PROFILE, saved=carried)
    expected.take(first)
    assert snapshot(refold(begin, [Session(folder)])) == snapshot(expected)


def test_an_action_comes_behind_the_frames_stamped_no_later() -> None:
    frames = received(0, 4)
    (second,) = {int(stamp) for stamp in frames[1].stamp_us}
    messages: list[int] = []

    @dataclasses.dataclass(frozen=True)
    class Note:
        stamp_us: int

        def apply(self, ride: Ride) -> None:
            messages.append(ride.messages)

    notes = [Note(second), Note(second - 1), Note(second + 1)]
    for windows in (frames, [joined(frames)]):
        messages.clear()
        replay(Ride(PROFILE), windows, notes)
        assert messages == [A_SECOND, 2 * A_SECOND, 2 * A_SECOND]
