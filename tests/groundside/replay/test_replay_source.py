"""A replay at any speed gives the figures of a review; pacing."""

import asyncio
import json
from pathlib import Path

import pytest

from groundside.dashboard.plain import line_of
from groundside.replay.pacing import SPEEDS, Pacing
from groundside.replay.replay_source import ReplaySource
from groundside.reports.review.review_output import review_json
from groundside.reports.review.summary import review
from groundside.words.units import CHOICES
from onboard.errors import LogError
from onboard.profile import Profile, load_profile
from tests.groundside.replay.fake_clock import FakeClock
from tests.small_streams import Sender, records
from tests.wire import replayed

LOGS = Path(__file__).parents[3] / "replay_logs"
RIDE, CRAFT = LOGS / "harbour_loop.tlog", LOGS / "harbour_loop.toml"


def play(path: Path, profile: Profile, speed: float, **options) -> tuple[list[dict], FakeClock]:
    clock = FakeClock()
    source = ReplaySource(path, profile, speed=speed, clock=clock, sleep=clock.sleep, **options)

    async def collect() -> list[dict]:
        return [replayed(update) async for update in source.stream()]

    return asyncio.run(collect()), clock


@pytest.mark.parametrize("speed", [7.0, 60.0, 1e6])
def test_a_replay_ends_with_the_figures_of_the_review(speed: float) -> None:
    profile = load_profile(CRAFT)
    reviewed = json.loads(json.dumps(review_json(review(RIDE, profile))))
    snapshots, clock = play(RIDE, profile, speed)
    trip = snapshots[-1]["trip"]
    assert trip.keys() == reviewed["trip"].keys()
    for key in ("energy_wh", "distance_m", "wh_per_km"):
        assert trip[key]["value"] == pytest.approx(reviewed["trip"][key]["value"], rel=1e-9), key
    for key in ("charge_ah", "moving_s", "elapsed_s", "mean_speed_mps", "max_speed_mps"):
        assert trip[key] == pytest.approx(reviewed["trip"][key], rel=1e-9), key
    assert snapshots[-1]["battery"] == reviewed["battery"]
    expected_s = reviewed["log"]["duration_s"] / speed
    assert clock.now_s - 50.0 == pytest.approx(expected_s, abs=0.3)


def test_snapshots_carry_place_and_speed() -> None:
    snapshots, _ = play(RIDE, Profile(), 100.0)
    places = [snapshot["replay"]["t_s"] for snapshot in snapshots]
    assert places == sorted(places)
    assert places[-1] == snapshots[-1]["replay"]["duration_s"]
    assert all(snapshot["replay"]["speed"] == 100.0 for snapshot in snapshots)
    middle = snapshots[len(snapshots) // 2]
    assert middle["t_s"] == pytest.approx(middle["replay"]["t_s"], abs=0.5)


def test_a_dashboard_replay_stays_at_the_end() -> None:
    clock = FakeClock()
    source = ReplaySource(
        RIDE, Profile(), speed=1e4, stays_at_end=True, clock=clock, sleep=clock.sleep
    )

    async def some() -> list[dict]:
        stream = source.stream()
        return [replayed(await anext(stream)) for _ in range(10)]

    snapshots = asyncio.run(some())
    assert snapshots[-1]["trip"] == snapshots[-2]["trip"]


def test_pause_faster_and_slower_keep_the_place() -> None:
    clock = FakeClock()
    pacing = Pacing(clock, 2.0)
    clock.now_s += 10
    assert pacing.place_s() == 20.0
    pacing.faster()
    assert pacing.speed == 4.0
    clock.now_s += 10
    assert pacing.place_s() == 60.0
    pacing.pause_or_go()
    clock.now_s += 100
    assert (pacing.place_s(), pacing.paused) == (60.0, True)
    pacing.slower()
    pacing.pause_or_go()
    clock.now_s += 1
    assert pacing.place_s() == 62.0
    for _ in range(20):
        pacing.faster()
    assert pacing.speed == SPEEDS[-1]
    for _ in range(20):
        pacing.slower()
    assert pacing.speed == SPEEDS[0]


def test_in_a_gap_of_the_log_the_figures_age(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(100) for frame in sender.second(5 + n, 50, 8, 2)]
    before = records(frames[:350])  # 0 to 34.9 s
    behind = records(frames[350:], start_us=1_750_000_000_000_000 + 95_000_000)
    (tmp_path / "log").write_bytes(before + behind)
    snapshots, _ = play(tmp_path / "log", Profile(), 1.0)
    (in_gap,) = [s for s in snapshots if abs(s["replay"]["t_s"] - 60.0) < 0.05]
    assert in_gap["link"]["age_s"] == pytest.approx(25.1, abs=0.2)
    assert in_gap["power_w"] is None
    assert in_gap["trip"]["energy_wh"]["value"] > 0


def test_a_clock_step_in_the_log_delays_nothing(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(40) for frame in sender.second(5 + n, 50, 8, 2)]
    never_set = records(frames[:140], start_us=60_000_000)
    (tmp_path / "log").write_bytes(never_set + records(frames[140:]))
    assert review(tmp_path / "log", Profile()).log.duration_s == pytest.approx(27.8, abs=0.1)
    snapshots, clock = play(tmp_path / "log", Profile(), 1.0)
    assert clock.now_s - 50.0 == pytest.approx(27.8, abs=0.5)
    assert snapshots[-1]["replay"]["duration_s"] == pytest.approx(27.8, abs=0.1)


def test_a_file_that_is_no_log_is_refused_at_once(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("no log")
    with pytest.raises(LogError, match="no MAVLink frame"):
        ReplaySource(tmp_path / "notes.txt", Profile())


@pytest.mark.parametrize("speed", [1.0, 20.0, 100.0])
def test_plain_lines_said_stale_no_power_for_34_s_in_a_log_without_gaps(speed: float) -> None:
    """On a busy machine a fold takes 0.34 s, which at 100 times real time is 34 s of the log."""
    clock = FakeClock()

    def busy() -> float:
        clock.now_s += 0.34
        return clock.now_s

    profile = load_profile(CRAFT)
    source = ReplaySource(RIDE, profile, speed=speed, clock=busy, sleep=clock.sleep)

    async def lines() -> list[str]:
        said = []
        async for update in source.stream():
            assert update.snapshot is not None
            said.append(line_of(update.snapshot, CHOICES["km/h"], 0.34, update.replay))
            if len(said) == 60:
                break
        return said

    said = asyncio.run(lines())
    assert len(said) >= 9
    assert not [line for line in said if "STALE" in line or "no power for" in line]
