"""Each source of error switched off in turn: does the interval shrink as derived?

Only widths matter, so rides end at the instant of the figures. All variants use the same seeds.
"""

from typing import Any

from tests.craft.chance import generator
from tests.evaluation.coverage import FIGURES
from tests.evaluation.discharge import discharge_wh
from tests.evaluation.informed import spreads
from tests.evaluation.riders import HOLDS, drawn
from tests.evaluation.saved_rides import ahead_of, instant, to_instant
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, number, percentile
from tests.evaluation.truth import Track
from tests.evaluation.world import draw

SWITCHED_OFF = ("start", "capacity", "gain", "offset", "voltage", "velocity", "current")
WITH_ALL = "all"
LAST_S = 15.0
"""Time at the end over which power and speed are taken to go on: less than any last leg's [s]."""


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride to an instant without one source of error; return the engine's and informed widths."""
    rng = generator(seed, "rider")
    world = draw(seed, craft, frozenset({variant} - {WITH_ALL}))
    world, manner = drawn(world, HOLDS[int(rng.integers(len(HOLDS)))], rng)
    voyage, telemetry, _ = to_instant(world, manner, rng)
    tested = engine(world.stated)
    tested.fold(telemetry.block())
    figures = tested.figures()
    now, track = voyage.index - 1, Track.of(voyage)
    first = now - round(LAST_S / voyage.step_s)
    power_w = float(track.energy_wh[now] - track.energy_wh[first]) * 3600.0 / LAST_S
    speed_mps = float(track.distance_m[now] - track.distance_m[first]) / LAST_S
    pack, stated = world.craft.battery, world.stated
    left_wh = discharge_wh(
        pack, voyage.state.charge_fraction, pack.capacity_ah, power_w, 0.0,
        stated.reserve_fraction, stated.cutoff_v,
    )  # fmt: skip
    left_s = left_wh / power_w * 3600.0
    ahead = ahead_of(voyage, power_w=power_w, speed_mps=speed_mps, left_s=left_s)
    informed = spreads(world, instant(voyage, track, now, ahead))
    return {
        "craft": world.name,
        "ours": {
            name: answer["high"] - answer["low"]
            for name, answer in ((name, figure(figures, path)) for name, path in FIGURES.items())
            if answer.get("low") is not None
        },
        "informed": informed,
    }


def table(rows: list[dict[str, Any]]) -> str:
    """Return the median ratio of width without a source to that with all, and the derived one."""
    full = {row["seed"]: row for row in rows if row["variant"] == WITH_ALL}
    lines = []
    for source in SWITCHED_OFF:
        pairs = [(full[row["seed"]], row) for row in rows
                 if row["variant"] == source and row["seed"] in full]  # fmt: skip
        cells = [f"{_ratio(pairs, 'ours', name)} / {_ratio(pairs, 'informed', name)}"
                 for name in FIGURES]  # fmt: skip
        lines.append([source, *cells])
    title = f"sources: width without / with it, measured / derived; {len(full)} rides each"
    return markdown(title, ("without", *FIGURES), lines)


def _ratio(pairs: list[tuple[dict[str, Any], dict[str, Any]]], side: str, name: str) -> str:
    ratios = [
        after[side][name] / before[side][name]
        for before, after in pairs
        if before[side].get(name) and name in after[side]
    ]
    return number(percentile(ratios, 50))
