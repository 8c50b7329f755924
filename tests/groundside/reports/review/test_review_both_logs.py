"""One ride recorded both ways, by the link and on board the autopilot: one trip."""

import asyncio
from datetime import datetime
from pathlib import Path

import pytest

from groundside.replay.replay_source import ReplaySource
from groundside.reports.review.summary import review
from onboard.contract.figure import Figure, Unknown, within
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from onboard.profile import load_profile
from onboard.telemetry.logs.formats import open_log
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_bytes

CRAFT = Path(__file__).parents[4] / "replay_logs" / "harbour_loop.toml"


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
    assert [one.log.format for one in (telemetry, onboard)] == ["telemetry", "onboard"]
    trips = onboard.trip, telemetry.trip
    for figures, most in (
        ([trip.energy_wh for trip in trips], 2e-3),
        ([trip.distance_m for trip in trips], 2e-3),
        ([trip.wh_per_km for trip in trips], 3e-3),
        ([within(one.battery, lambda known: known.left_wh) for one in (onboard, telemetry)], 5e-3),
    ):
        one, other = figures
        assert isinstance(one, Figure)
        assert isinstance(other, Figure)
        assert one.value == pytest.approx(other.value, rel=most)
    assert onboard.trip.elapsed_s == pytest.approx(telemetry.trip.elapsed_s, abs=1.5)
    # Both know UTC from the receiver.
    began = [datetime.fromisoformat(one.log.start_utc) for one in (telemetry, onboard)]
    assert abs((began[1] - began[0]).total_seconds()) < 0.5
    assert onboard.log.bad_bytes == 0
    assert onboard.events == ()


@pytest.mark.slow
def test_a_replay_of_the_onboard_log_ends_with_the_reviews_figures(
    logs: tuple[Path, Path],
) -> None:
    profile, now = load_profile(CRAFT), [0.0]

    async def sleep(seconds: float) -> None:
        now[0] += seconds

    async def play() -> Snapshot:
        source = ReplaySource(logs[1], profile, speed=20.0, clock=lambda: now[0], sleep=sleep)
        updates = [update async for update in source.stream()]
        snapshots = [one.snapshot for one in updates if one.snapshot is not None]
        assert len(snapshots) == len(updates) > 50
        places = [snapshot.t_s for snapshot in snapshots]
        assert places == sorted(places)
        return snapshots[-1]

    last = asyncio.run(play())
    assert last.trip == review(logs[1], profile).trip
    assert last.link.system_id == Unknown(Reason.NO_SYSTEM)
    # Each sample is given once.
    every = sum(map(len, (c for b in open_log(logs[1]).parts() for c in b.channels.values())))
    assert last.link.messages == every
