"""Remaining range from a fifth of the trip on, with the rider continuing as before."""

from typing import Any

from tests.craft.battery import rest_energy_wh
from tests.craft.chance import generator
from tests.evaluation.riders import HOLDS, POWER_LAPS, SPEED_LAPS, begun, drawn
from tests.evaluation.rides import ride_for
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, percent, percentile, share
from tests.evaluation.truth import Track, reserve_charge
from tests.evaluation.world import draw

VARIANTS = dict.fromkeys((*HOLDS, POWER_LAPS, SPEED_LAPS), 0.25)
EVERY_S = 60.0
SHARES = tuple(k / 20 for k in range(4, 19))


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride from start to empty in one manner, and get the range every minute."""
    rng = generator(seed, f"rider {variant}")
    world, manner = drawn(draw(seed, craft), variant, rng)
    stated, pack = world.stated, world.craft.battery
    voyage, telemetry = begun(world, manner)
    tested = engine(stated)
    voyage.begin(manner.leg(world, rng, manner.axis_deg))
    empty = reserve_charge(pack, stated.reserve_fraction)
    ranges: list[tuple[int, dict[str, Any]]] = []
    ended = False
    while not ended and voyage.index < voyage.count:
        ended = ride_for(voyage, EVERY_S, empty, stated.cutoff_v)
        tested.fold(telemetry.block())
        ranges.append((voyage.index - 1, figure(tested.figures(), "range_m.now")))
    if not ended:
        return {"why": "not empty within the time simulated", "craft": world.name}
    track, end = Track.of(voyage), voyage.index - 1
    trip_m = float(track.distance_m[end])
    full_wh = rest_energy_wh(pack, 1.0)
    usable_wh = rest_energy_wh(pack, pack.start_fraction) - stated.reserve_fraction * full_wh
    full_m = trip_m * (1.0 - stated.reserve_fraction) * full_wh / usable_wh
    points = []
    for part in SHARES:
        at, answer = min(ranges, key=lambda one: abs(one[0] - part * end))
        true_m = float(trip_m - track.distance_m[at])
        points.append({**answer, "share": part, "true": true_m})
    return {"craft": world.name, "full_m": full_m, "points": points}


def table(rows: list[dict[str, Any]]) -> str:
    """Return errors relative to the full-charge range."""
    lines = []
    for variant in VARIANTS:
        good = [row for row in rows if row["variant"] == variant and "points" in row]
        lines.append(_line(variant, good))
        lines += [
            _line(f"{variant}, from {100 * part:.0f} %", good, part)
            for part in (0.2, 0.4, 0.6, 0.8)
        ]
    head = ("way of riding", "rides", "known", "median error", "95th percentile", "coverage")
    return markdown("range: error as a share of the full-charge range", head, lines)


def _line(label: str, rows: list[dict[str, Any]], only: float | None = None) -> list[str]:
    points = [
        (row["full_m"], point)
        for row in rows
        for point in row["points"]
        if only is None or point["share"] == only
    ]
    known = [(full, point) for full, point in points if "value" in point]
    errors = [abs(point["value"] - point["true"]) / full for full, point in known]
    judged = [point for _, point in known if point.get("low") is not None]
    hits = sum(point["low"] <= point["true"] <= point["high"] for point in judged)
    return [
        label,
        str(len(rows)),
        percent(len(known) / len(points)) if points else "-",
        percent(percentile(errors, 50), 2),
        percent(percentile(errors, 95), 2),
        share(hits, len(judged)),
    ]
