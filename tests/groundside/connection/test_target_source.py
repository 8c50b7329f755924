"""The target distance filled in by a viewer."""

import asyncio
from collections.abc import AsyncIterator

from groundside.connection.source import NotFoundYet, SnapshotSource, Update
from groundside.connection.target_source import TargetSource
from onboard.contract.advice import Standing, Target
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from tests.groundside.dashboard.steered_app import snapshot
from tests.made_snapshot import TARGET

NO_CURRENT = Unknown(Reason.NO_CURRENT)
HARDLY = Unknown(Reason.HARDLY_MOVING)


class Fixed:
    name, controls, seek_controls, command_sender = "fixed", None, None, None

    def __init__(self, *snapshots: Snapshot | None) -> None:
        self._snapshots = snapshots

    async def stream(self) -> AsyncIterator[Update]:
        for shown in self._snapshots:
            yield Update(shown, None if shown else "no feed")


RANGE, RECENT = Figure(17_000.0, 16_000.0, 18_000.0), Figure(40.0)


def at(made_m: float, reach: Estimate = RANGE, recent: Estimate = RECENT) -> Snapshot:
    return snapshot(
        trip__distance_m=Figure(made_m), range_m__now=reach, wh_per_km__last_300_s=recent
    )


def updates(source: SnapshotSource) -> list[Update]:
    async def collect() -> list[Update]:
        return [update async for update in source.stream()]

    return asyncio.run(collect())


def targets(*snapshots: Snapshot | None) -> list[Target | Unknown | None]:
    return [
        update.snapshot.target if update.snapshot else None
        for update in updates(TargetSource(Fixed(*snapshots), 20_000.0))
    ]


def target(*snapshots: Snapshot | None) -> Target:
    """Return the target of the last snapshot."""
    last = targets(*snapshots)[-1]
    assert isinstance(last, Target)
    return last


def test_the_distance_to_go_shrinks_from_the_first_snapshot_on() -> None:
    first = target(at(5_000.0))
    assert (first.distance_m, first.cue, first.wh_per_km) == (20_000.0, "ease", 32.0)
    assert targets(at(5_000.0), None)[-1] is None
    last = target(at(5_000.0), None, at(15_000.0))
    assert (last.distance_m, last.cue, last.wh_per_km) == (10_000.0, "hold", 64.0)


def test_distance_made_survives_a_restart_of_the_daemon() -> None:
    assert target(at(0.0), at(5_000.0), at(10.0), at(110.0)).distance_m == 14_900.0


def test_distance_made_during_an_unknown_spell_is_counted_once() -> None:
    unknown = snapshot(trip__distance_m=HARDLY)
    assert target(at(1_000.0), unknown, at(3_000.0)).distance_m == 18_000.0


def test_reasons_for_unknown_figures_are_passed_on() -> None:
    nothing_left = target(at(0.0, reach=NO_CURRENT))
    assert nothing_left.cue == nothing_left.wh_per_km == NO_CURRENT
    nothing_lately = target(at(0.0, recent=HARDLY))
    assert nothing_lately.wh_per_km == nothing_lately.cue == HARDLY
    assert nothing_lately.reason.code is Standing.NO_CUE
    no_battery = Unknown(Reason.NO_BATTERY)
    assert target(at(0.0, reach=no_battery)).cue == no_battery


def test_the_daemon_s_own_target_is_kept() -> None:
    assert target(snapshot(target=TARGET)) is TARGET


def test_the_failed_search_is_reported_until_the_first_snapshot() -> None:
    source = NotFoundYet(Fixed(None, snapshot(), None), "no craft found")
    assert [update.problem for update in updates(source)] == ["no craft found", None, "no feed"]
