"""The target distance that a viewer adds to snapshots."""

import asyncio
from dataclasses import replace

from groundside.source import Update
from groundside.target_source import WithTarget
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot, Target
from tests.made_snapshot import TARGET, made_snapshot

MADE = made_snapshot()
KNOWN_LEFT, KNOWN_RECENT = Figure(640.0), Figure(40.0)


class Fixed:
    name, controls = "fixed", None

    def __init__(self, *snapshots: Snapshot | None) -> None:
        self._snapshots = snapshots

    async def stream(self):
        for snapshot in self._snapshots:
            yield Update(snapshot, None if snapshot else "no feed")


def snapshot(
    made_m: float, left_wh: Estimate = KNOWN_LEFT, recent: Estimate = KNOWN_RECENT
) -> Snapshot:
    return replace(
        MADE,
        trip=replace(MADE.trip, distance_m=Figure(made_m)),
        battery=replace(MADE.battery, left_wh=left_wh),
        wh_per_km=replace(MADE.wh_per_km, last_300_s=recent),
        target=Unknown(Reason.NO_TARGET),
    )


def targets(*snapshots: Snapshot | None) -> list[Target | Unknown | None]:
    async def collect():
        source = WithTarget(Fixed(*snapshots), 20_000.0)
        return [update.snapshot and update.snapshot.target async for update in source.stream()]

    return asyncio.run(collect())


def test_the_way_to_go_shrinks_from_the_first_snapshot_on() -> None:
    first, nothing, last = targets(snapshot(5_000), None, snapshot(15_000))
    assert nothing is None
    assert (first.distance_m, first.cue, first.wh_per_km) == (20_000, "ease", 32.0)
    assert (last.distance_m, last.cue, last.wh_per_km) == (10_000, "push", 64.0)


def test_what_was_made_stays_made_when_the_daemon_counts_anew() -> None:
    *_, last = targets(snapshot(0), snapshot(5_000), snapshot(10), snapshot(110))
    assert last.distance_m == 14_900


def test_without_its_figures_the_reason_is_passed_on() -> None:
    no_current, resting = Unknown(Reason.NO_CURRENT), Unknown(Reason.HARDLY_MOVING)
    (target,) = targets(snapshot(0, left_wh=no_current))
    assert target.cue == no_current
    (target,) = targets(snapshot(0, recent=resting))
    assert (target.wh_per_km, target.cue) == (32.0, resting)
    no_battery = Unknown(Reason.NO_BATTERY)
    (target,) = targets(replace(snapshot(0), battery=no_battery))
    assert target.cue == no_battery


def test_a_target_of_the_daemon_is_left_alone() -> None:
    (target,) = targets(replace(snapshot(0), target=TARGET))
    assert target is TARGET
