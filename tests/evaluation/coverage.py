"""Coverage and width of intervals, at one instant of each of many independent rides."""

import math
from typing import Any

from tests.craft.chance import generator
from tests.craft.voyage import Voyage
from tests.evaluation.informed import Now, spreads
from tests.evaluation.rides import ride_legs, start
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, number, percent, percentile, share
from tests.evaluation.truth import Track, carry_on, reserve_charge
from tests.evaluation.world import World, draw

FIGURES = {
    "energy": "trip.energy_wh",
    "distance": "trip.distance_m",
    "wh_per_km_20_s": "wh_per_km.last_20_s",
    "wh_per_km_300_s": "wh_per_km.last_300_s",
    "wh_per_km_trip": "trip.wh_per_km",
    "left": "battery.left_wh",
    "time_left": "time_left_s",
    "range": "range_m.now",
}

AS_BEFORE = ("time_left", "range")
"""Figures that assume going on as before, which the engine must have observed for a while."""

SETTLED_S = 300.0


def ride(seed: int, craft: str | None) -> dict[str, Any]:
    """Ride to a random instant, get the figures, and ride on to find the truth."""
    world = draw(seed, craft)
    voyage, figures = to_instant(world)
    now = voyage.index - 1
    in_leg_s = voyage.in_leg_s
    limit = carry_on(voyage, world.stated.reserve_fraction, world.stated.cutoff_v)
    if limit == "time":
        return {"why": "not empty within the time simulated", "craft": world.name}
    track = Track.of(voyage)
    end = voyage.index - 1
    true = {
        "energy": float(track.energy_wh[now]),
        "distance": float(track.distance_m[now]),
        "wh_per_km_20_s": track.wh_per_km(now, 20.0),
        "wh_per_km_300_s": track.wh_per_km(now, 300.0),
        "wh_per_km_trip": track.wh_per_km(now),
        "left": float(track.energy_wh[end] - track.energy_wh[now]),
        "time_left": (end - now) * voyage.step_s,
        "range": float(track.distance_m[end] - track.distance_m[now]),
    }
    informed = spreads(world, instant(voyage, track, now, end, in_leg_s))
    return {
        "craft": world.name,
        "limit": limit,
        "in_leg_s": in_leg_s,
        "t_s": now * voyage.step_s,
        "figures": {
            name: {**figures[name], "true": true[name], "informed_sd": informed.get(name)}
            for name in FIGURES
        },
    }


def to_instant(world: World) -> tuple[Voyage, dict[str, Any]]:
    """Ride until a random share of the usable charge is used; return the engine's figures."""
    rng = generator(world.seed, "rider")
    voyage, telemetry = start(world)
    charge = world.craft.battery.start_fraction
    empty = reserve_charge(world.craft.battery, world.stated.reserve_fraction)
    ride_legs(voyage, world, rng, charge - float(rng.uniform(0.03, 0.9)) * (charge - empty))
    tested = engine(world.stated)
    tested.fold(telemetry.block())
    figures = tested.figures()
    return voyage, {name: figure(figures, path) for name, path in FIGURES.items()}


def instant(voyage: Voyage, track: Track, now: int, end: int, in_leg_s: float) -> Now:
    """Return the input for the informed estimator."""
    first = max(now - round(min(max(in_leg_s, 20.0), 300.0) / voyage.step_s), 0)
    seconds_s = (now - first) * voyage.step_s
    return Now(
        t_s=now * voyage.step_s,
        charge_ah=float(track.charge_ah[now]),
        energy_wh=float(track.energy_wh[now]),
        distance_m=float(track.distance_m[now]),
        power_w=float(track.energy_wh[now] - track.energy_wh[first]) * 3600.0 / seconds_s,
        speed_mps=max(float(track.distance_m[now] - track.distance_m[first]) / seconds_s, 0.1),
        left_s=(end - now) * voyage.step_s,
        in_leg_s=in_leg_s,
        at_speed=voyage.leg.speed_mps is not None,
        wh_per_km_trip=track.wh_per_km(now),
    )


def table(rows: list[dict[str, Any]]) -> str:
    """Return the table of coverage and width of each figure."""
    good = [row for row in rows if "figures" in row]
    lines = [_line(name, name, good) for name in FIGURES]
    settled = [row for row in good if row["in_leg_s"] >= SETTLED_S]
    lines += [_line(f"{name}, as before for 300 s", name, settled) for name in AS_BEFORE]
    head = (
        "figure", "rides", "known", "coverage of 95 % [limits]", "median error", "95th percentile",
        "median half-width", "informed", "median ratio",
    )  # fmt: skip
    return markdown(
        f"coverage: {len(good)} rides ({len(rows) - len(good)} without an end)", head, lines
    )


def _line(label: str, name: str, rows: list[dict[str, Any]]) -> list[str]:
    answers = [row["figures"][name] for row in rows if row["figures"][name]["true"] is not None]
    known = [answer for answer in answers if "value" in answer]
    judged = [answer for answer in known if answer.get("low") is not None]
    hits = sum(answer["low"] <= answer["true"] <= answer["high"] for answer in judged)
    error = [abs(a["value"] / a["true"] - 1.0) for a in known if a["true"] > 0.0]
    tested = [_half(a) for a in judged if a["true"] > 0.0]
    informed = [_informed(a) for a in known if a["informed_sd"] and a["true"] > 0.0]
    ratios = [_half(a) / _informed(a) for a in judged if a["informed_sd"] and a["true"] > 0.0]
    return [
        label,
        str(len(answers)),
        percent(len(known) / len(answers) if answers else math.nan),
        share(hits, len(judged)),
        percent(percentile(error, 50), 2),
        percent(percentile(error, 95), 1),
        percent(percentile(tested, 50), 2),
        percent(percentile(informed, 50), 2),
        number(percentile(ratios, 50)),
    ]


def _half(answer: dict[str, Any]) -> float:
    return float(answer["high"] - answer["low"]) / 2.0 / float(answer["true"])


def _informed(answer: dict[str, Any]) -> float:
    return 1.96 * float(answer["informed_sd"]) / float(answer["true"])
