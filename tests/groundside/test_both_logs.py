"""One ride recorded both ways, by the link and on board the autopilot: one trip."""

import asyncio
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from groundside.replay.player import ReplaySource
from groundside.review.summary import review
from onboard.profile import load_profile
from onboard.telemetry.logs import open_log
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_bytes

CRAFT = Path(__file__).parents[2] / "replay_logs" / "harbour_loop.toml"


@pytest.fixture(scope="module")
def logs(tmp_path_factory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("ride")
    made = record(SCENARIOS["harbour_loop"])
    telemetry, onboard = folder / "ride.tlog", folder / "ride.bin"
    telemetry.write_bytes(log_bytes(made.frames, made.scenario.start_unix_s))
    onboard.write_bytes(onboard_log_bytes(made))
    return telemetry, onboard


@pytest.mark.slow
def test_the_same_ride_gives_the_same_trip(logs: tuple[Path, Path]) -> None:
    profile = load_profile(CRAFT)
    telemetry, onboard = (review(path, profile) for path in logs)
    assert [one["log"]["format"] for one in (telemetry, onboard)] == ["telemetry", "onboard"]
    for key, most in (("energy_wh", 2e-3), ("distance_m", 2e-3), ("wh_per_km", 3e-3)):
        value = onboard["trip"][key]["value"]
        assert value == pytest.approx(telemetry["trip"][key]["value"], rel=most), key
    assert onboard["trip"]["elapsed_s"] == pytest.approx(telemetry["trip"]["elapsed_s"], abs=1.5)
    left = [one["battery"]["left_wh"]["value"] for one in (telemetry, onboard)]
    assert left[1] == pytest.approx(left[0], rel=5e-3)
    # Both know UTC from the receiver.
    began = [datetime.fromisoformat(one["log"]["start_utc"]) for one in (telemetry, onboard)]
    assert abs((began[1] - began[0]).total_seconds()) < 0.5
    assert onboard["log"]["bad_bytes"] == 0
    assert onboard["events"] == []


@pytest.mark.slow
def test_a_replay_of_the_onboard_log_ends_with_the_reviews_figures(
    logs: tuple[Path, Path],
) -> None:
    profile, now = load_profile(CRAFT), [0.0]

    async def sleep(seconds: float) -> None:
        now[0] += seconds

    async def play() -> dict[str, Any]:
        source = ReplaySource(logs[1], profile, speed=20.0, clock=lambda: now[0], sleep=sleep)
        snapshots = [update.snapshot async for update in source.stream()]
        assert len(snapshots) > 50
        places = [snapshot["t_s"] for snapshot in snapshots]
        assert places == sorted(places)
        return snapshots[-1]

    last = asyncio.run(play())
    assert last["trip"] == review(logs[1], profile)["trip"]
    assert last["link"]["system_id"] is None
    # Each sample is given once.
    every = sum(map(len, (c for b in open_log(logs[1]).parts() for c in b.channels.values())))
    assert last["link"]["messages"] == every
