"""Seeking in a saved ride: the figures at a place do not depend on how it was reached."""

import asyncio
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundside.replay.playback import start_playback
from groundside.replay.replay_source import ReplaySource
from groundside.replay.seek_index import CHECKPOINTS_MOST, SeekIndex
from onboard.contract.alerts import Alert
from onboard.contract.commands import Mark, Set
from onboard.profile import Profile, load_profile
from onboard.record.marks import TimedCommand
from onboard.ride.ride import Ride
from onboard.telemetry.logs.telemetry_log import read_log
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_frames
from tests.groundside.replay.fake_clock import FakeClock
from tests.small_streams import Sender, records
from tests.wire import replayed, wire

LOGS = Path(__file__).parents[3] / "replay_logs"
RIDE, CRAFT = LOGS / "harbour_loop.tlog", LOGS / "harbour_loop.toml"


@pytest.fixture(scope="module")
def index() -> SeekIndex:
    return indexed(RIDE, load_profile(CRAFT))


def indexed(log: Path, profile: Profile) -> SeekIndex:
    """Return the complete index of a log."""
    index = SeekIndex(*start_playback(log, profile, None, None))
    index.start()
    index.wait()
    return index


def figures(ride: Ride) -> dict[str, Any]:
    shown = wire(ride.snapshot("x", age_s=0.0))
    shown.pop("seq")
    return json.loads(json.dumps(shown))


def differences(one: Any, other: Any, path: str = "") -> list[str]:
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [p for key in one for p in differences(one[key], other[key], f"{path}.{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = enumerate(zip(one, other, strict=True))
        return [p for n, (a, b) in pairs for p in differences(a, b, f"{path}.{n}")]
    if isinstance(one, float) and isinstance(other, float):
        return [] if math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9) else [path]
    return [] if one == other else [path]


@settings(max_examples=12)
@given(st.floats(0, 735), st.lists(st.floats(0, 735), max_size=3))
def test_figures_at_a_place_do_not_depend_on_how_it_was_reached(index, place_s, before) -> None:
    straight, _ = start_playback(RIDE, load_profile(CRAFT), None, None)
    straight.advance(place_s)
    for one in before:
        index.playback_at(one).advance(735.0)
    there = index.playback_at(place_s)
    assert differences(figures(there.ride), figures(straight.ride)) == []
    assert there.ride.engine.trip_line.t_s == straight.ride.engine.trip_line.t_s


def test_seeking_to_the_end_gives_the_figures_of_a_live_ride(index) -> None:
    live = Ride(load_profile(CRAFT))
    for frames in read_log(RIDE, 700):  # a few frames at a time, as from a link
        live.take(frames)
    live.finish()
    sought = index.playback_at(math.inf)
    assert sought.ended
    assert differences(figures(sought.ride), figures(live)) == []


def test_checkpoints_are_few_and_playing_on_leaves_them_unchanged(index) -> None:
    assert 10 < len(index.checkpoints) <= CHECKPOINTS_MOST + 1
    before = figures(index.playback_at(300.0).ride)
    index.playback_at(300.0).advance(600.0)
    assert figures(index.playback_at(300.0).ride) == before


def test_a_distance_is_found_where_the_trip_had_reached_it(index) -> None:
    for distance_m in (100.0, 700.0, 1300.0):
        place_s = index.place_of_distance(distance_m)
        made = figures(index.playback_at(place_s).ride)["trip"]["distance_m"]["value"]
        # The line has a point every two seconds of up to 3 m/s, and figures settle later.
        assert made == pytest.approx(distance_m, abs=15.0)


def slow_loop(tmp_path: Path) -> Path:
    """Return a ride whose current sensor dies on the way, which raises an alert."""
    log = tmp_path / "ride.tlog"
    sender = Sender()
    frames = [
        frame
        for n in range(400)
        for frame in sender.second(50 + n, 50, 8.0 if n < 200 else 0.0, 2.0)
    ]
    log.write_bytes(records(frames, step_us=1_000_000 // 7))
    return log


def test_events_are_placed_where_they_are_first_seen(tmp_path: Path) -> None:
    log = slow_loop(tmp_path)
    made = indexed(log, Profile())
    (event,) = [one for one in made.events if getattr(one.what, "code", None) == "current_dead"]
    assert 200 < event.place_s < 320

    def seen(place_s: float) -> bool:
        alerts = figures(made.playback_at(place_s).ride)["alerts"]
        return any(alert["code"] == "current_dead" for alert in alerts)

    assert seen(event.place_s)
    assert not seen(event.place_s - 1.0)
    assert made.next_event_s(event.place_s - 5.0) == event.place_s
    assert made.next_event_s(event.place_s) is None
    assert made.event_before_s(event.place_s + 5.0) == event.place_s
    assert made.event_before_s(event.place_s) == 0.0


def steered(path: Path, acts: list[tuple[str, float]], profile: Profile) -> list[dict[str, Any]]:
    """Perform actions in turn; return the third update after each."""
    clock = FakeClock()
    source = ReplaySource(path, profile, stays_at_end=True, clock=clock, sleep=clock.sleep)

    async def run() -> list[dict[str, Any]]:
        stream = source.stream()
        await anext(stream)
        source.index.wait()
        seen = []
        for name, value in acts:
            act = getattr(source, name, None) or getattr(source.controls, name)
            act(value) if name in ("jump", "go_to", "go_to_distance") else act()
            for _ in range(3):
                update = await anext(stream)
            seen.append(replayed(update))
        await stream.aclose()
        return seen

    return asyncio.run(run())


def test_seeking_is_clamped_to_the_ends_and_works_past_the_end() -> None:
    acts = [("jump", 1e9), ("jump", -60.0), ("jump", -1e9), ("go_to", 0.5), ("pause_or_go", 0)]
    seen = steered(RIDE, [*acts, ("jump", 60.0)], load_profile(CRAFT))
    places = [one["replay"]["t_s"] for one in seen]
    duration_s = seen[0]["replay"]["duration_s"]
    assert places[0] == duration_s
    assert places[1] == pytest.approx(duration_s - 60.0, abs=0.7)
    assert places[2] == pytest.approx(0.0, abs=0.7)
    assert places[3] == pytest.approx(duration_s / 2, abs=0.7)
    assert seen[4]["replay"]["paused"]
    assert places[5] == pytest.approx(places[4] + 60.0, abs=1e-6)
    for one, place_s in zip(seen[1:], places[1:], strict=True):
        assert one["t_s"] == pytest.approx(place_s, abs=0.5)


def test_a_paused_replay_shows_the_figures_of_the_place_sought() -> None:
    profile = load_profile(CRAFT)
    seen = steered(RIDE, [("pause_or_go", 0), ("go_to", 0.7), ("go_to", 0.4)], profile)
    straight, duration_s = start_playback(RIDE, profile, None, None)
    straight.advance(0.4 * duration_s)
    wanted = figures(straight.ride)
    for key in ("trip", "wh_per_km", "range_m", "battery", "home"):
        assert differences(json.loads(json.dumps(seen[-1][key])), wanted[key]) == [], key


def session(folder: Path, commands: list[TimedCommand]) -> Path:
    folder.mkdir()
    (folder / "telemetry.tlog").write_bytes(RIDE.read_bytes())
    text = "".join(json.dumps(one.as_dict()) + "\n" for one in commands)
    (folder / "marks.jsonl").write_text(text)
    return folder


def test_a_session_is_played_with_the_commands_given_on_the_water(tmp_path: Path) -> None:
    stamps = np.array([frame.time_s for frame in log_frames(RIDE)])
    first_us = int(next(f for f in read_log(RIDE) if len(f)).stamp_us[0])
    commands = [
        TimedCommand(None, first_us + 100_000_000, None, Set(1, "target_power_w", 250.0)),
        TimedCommand(None, first_us + 120_000_000, None, Mark(2, "run_start")),
        TimedCommand(None, first_us + 200_000_000, None, Mark(3, "run_end")),
        TimedCommand(None, first_us + 10_000_000_000, None, Mark(4, "note", "ashore")),
    ]
    assert stamps[-1] - stamps[0] > 300
    folder = session(tmp_path / "s1", commands)
    made = indexed(folder, load_profile(CRAFT))
    _, duration_s = start_playback(folder, load_profile(CRAFT), None, None)
    assert figures(made.playback_at(99.0).ride)["target"] is None
    assert figures(made.playback_at(101.0).ride)["target"]["power_w"] == 250.0
    assert figures(made.playback_at(119.0).ride)["runs"] == []
    assert figures(made.playback_at(150.0).ride)["runs"][0]["open"] is True
    run = figures(made.playback_at(400.0).ride)["runs"][0]
    assert (run["open"], run["seconds_s"]) == (False, pytest.approx(80.0, abs=0.5))
    given = [event for event in made.events if not isinstance(event.what, Alert)]
    assert [event.what for event in given] == [one.command for one in commands]
    places = [event.place_s for event in given]
    assert places[:3] == pytest.approx([100.0, 120.0, 200.0], abs=0.5)
    assert places[3] == pytest.approx(duration_s, abs=0.5)


def test_seeking_in_a_log_of_one_second(tmp_path: Path) -> None:
    log = tmp_path / "short.tlog"
    log.write_bytes(records(Sender().second(50, 50, 8, 2)))
    acts = [("jump", 60.0), ("jump", -60.0), ("next_event", 0), ("event_before", 0), ("go_to", 1.0)]
    seen = steered(log, [*acts, ("go_to_distance", 500.0)], Profile())
    assert all(one["replay"]["t_s"] <= one["replay"]["duration_s"] + 1e-9 for one in seen)


@pytest.mark.slow
def test_seeking_in_an_onboard_log(tmp_path: Path) -> None:
    log = tmp_path / "ride.bin"
    log.write_bytes(onboard_log_bytes(record(SCENARIOS["harbour_loop"])))
    profile = load_profile(CRAFT)
    made = indexed(log, profile)
    for place_s in (500.0, 100.0):
        straight, _ = start_playback(log, profile, None, None)
        straight.advance(place_s)
        assert differences(figures(made.playback_at(place_s).ride), figures(straight.ride)) == []
