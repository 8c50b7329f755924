"""The target distance that a viewer adds to snapshots."""

import asyncio

from groundside.source import Update
from groundside.target_source import WithTarget


class Fixed:
    name, controls = "fixed", None

    def __init__(self, *snapshots: dict | None) -> None:
        self._snapshots = snapshots

    async def stream(self):
        for snapshot in self._snapshots:
            yield Update(snapshot, None if snapshot else "no feed")


def snapshot(made_m: float, left_wh: float | None = 640.0, recent: float | None = 40.0) -> dict:
    def figure(value):
        return None if value is None else {"value": value, "low": None, "high": None}

    return {
        "trip": {"distance_m": figure(made_m)},
        "battery": {"left_wh": figure(left_wh), "why": {"left_wh": "no current"}},
        "wh_per_km": {"last_300_s": figure(recent), "why": {"last_300_s": "hardly moving"}},
        "target": None,
    }


def targets(*snapshots: dict | None) -> list[dict | None]:
    async def collect():
        source = WithTarget(Fixed(*snapshots), 20_000.0)
        return [update.snapshot and update.snapshot["target"] async for update in source.stream()]

    return asyncio.run(collect())


def test_the_way_to_go_shrinks_from_the_first_snapshot_on() -> None:
    first, nothing, last = targets(snapshot(5_000), None, snapshot(15_000))
    assert nothing is None
    assert (first["distance_m"], first["cue"], first["wh_per_km"]) == (20_000, "ease", 32.0)
    assert (last["distance_m"], last["cue"], last["wh_per_km"]) == (10_000, "push", 64.0)


def test_what_was_made_stays_made_when_the_daemon_counts_anew() -> None:
    *_, last = targets(snapshot(0), snapshot(5_000), snapshot(10), snapshot(110))
    assert last["distance_m"] == 14_900


def test_without_its_figures_the_reason_is_passed_on() -> None:
    (target,) = targets(snapshot(0, left_wh=None))
    assert (target["cue"], target["why"]["cue"]) == (None, "no current")
    (target,) = targets(snapshot(0, recent=None))
    assert (target["wh_per_km"], target["why"]["cue"]) == (32.0, "hardly moving")
    (target,) = targets({"battery": None, "target": None})
    assert target["cue"] is None


def test_a_target_of_the_daemon_is_left_alone() -> None:
    (target,) = targets(snapshot(0) | {"target": {"cue": "hold"}})
    assert target == {"cue": "hold"}
