"""Rides to an instant, with what is true there, saved so that only the engine is run again.

    saved = saved_ride(seed, "duty", keep=Path("rides"))
    tested = engine(saved.stated)
    tested.fold(saved.block)
    tested.figures(), saved.true["range"], saved.informed_sd["range"], saved.meta

The truth of what is left is found by riding on, holding what is held at the instant, until only the
reserve is left or the pack gives out. A file holds for the code of the craft and of the draws:
their fingerprint is part of its name.
"""

import ast
import gzip
import hashlib
import pickle
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from onboard.block import Block
from tests.craft.battery import rest_energy_wh
from tests.craft.chance import generator
from tests.craft.voyage import Voyage
from tests.evaluation.blocks import Telemetry
from tests.evaluation.informed import WINDOW_S, Ahead, Now, spreads
from tests.evaluation.riders import KINDS, LEG_S, Manner, Shuttle, begun, drawn
from tests.evaluation.rides import LONGEST_S, ride_for
from tests.evaluation.truth import Track, carry_on, reserve_charge
from tests.evaluation.world import Stated, World, draw

SINCE_S = ((15.0, 60.0), (60.0, 180.0), (180.0, 1200.0))
"""Times since the last change, drawn equally often [s]."""

SIMULATION = ("blocks", "riders", "rides", "saved_rides", "truth", "world")
"""Modules of this folder on which a saved ride depends."""


class NoInstantError(Exception):
    """The pack gave out before the instant, or did not within the time simulated."""


@dataclass(frozen=True)
class SavedRide:
    """A ride up to an instant, and the truth."""

    stated: Stated
    block: Block
    """All telemetry up to the instant."""
    true: dict[str, float | None]
    """Keyed as in `coverage.FIGURES`."""
    now: Now
    """Input of the informed estimator."""
    meta: dict[str, Any]
    """`craft`, `kind`, `world_seed`; `hold`: name of the last leg; `since_s`: time since the rider
    changed something; `t_s`: the instant; `limit`: 'reserve' or 'cut-off'; `full_m`, `full_s`:
    range and time of the full pack above the reserve; `throttle`: it is reported; `cold`."""
    informed_sd: dict[str, float]


def saved_ride(
    seed: int, kind: str, craft: str | None = None, keep: Path | None = None
) -> SavedRide:
    """Return a ride, from the folder `keep` if it is there, else simulated and put there.

    Raises
    ------
    NoInstantError
        If the ride has no such instant.
    """
    path = None
    if keep:
        path = keep / f"{kind}-{craft or 'any'}-{seed}-{_fingerprint()}.pkl.gz"
        if path.exists():
            found = pickle.loads(gzip.decompress(path.read_bytes()))
            if isinstance(found, str):
                raise NoInstantError(found)
            return _informed(found)
    try:
        made: dict[str, Any] | str = simulated(seed, kind, craft)
    except NoInstantError as error:
        made = str(error)
    if path:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(gzip.compress(pickle.dumps(made), 3))
    if isinstance(made, str):
        raise NoInstantError(made)
    return _informed(made)


def _informed(made: dict[str, Any]) -> SavedRide:
    world = draw(made["meta"]["world_seed"], made["meta"]["craft"])
    return SavedRide(**made, informed_sd=spreads(world, made["now"]))


def simulated(seed: int, kind: str, craft: str | None = None) -> dict[str, Any]:
    """Ride to an instant and on to the end; return the fields of `SavedRide` but the last."""
    # No two kinds share a world, so that all rides are independent.
    world_seed = seed * len(KINDS) + KINDS.index(kind)
    rng = generator(world_seed, "rider")
    world, manner = drawn(draw(world_seed, craft), kind, rng)
    voyage, telemetry, changed = to_instant(world, manner, rng)
    now = voyage.index - 1
    since_s = (voyage.index - changed) * voyage.step_s
    block, stated = telemetry.block(), world.stated
    here = ahead_of(voyage, power_w=0.0, speed_mps=0.0, left_s=0.0)
    limit = carry_on(voyage, stated.reserve_fraction, stated.cutoff_v)
    if limit == "time":
        raise NoInstantError("not empty within the time simulated")
    track, end = Track.of(voyage), voyage.index - 1
    if end <= now:
        raise NoInstantError("the pack gave out at the instant")
    pack = world.craft.battery
    full_wh = rest_energy_wh(pack, 1.0)
    left_wh = float(track.energy_wh[end] - track.energy_wh[now])
    left_m = float(track.distance_m[end] - track.distance_m[now])
    left_s = (end - now) * voyage.step_s
    ahead = replace(
        here, power_w=left_wh * 3600.0 / left_s, speed_mps=left_m / left_s, left_s=left_s
    )
    fulls = (1.0 - stated.reserve_fraction) * full_wh / left_wh
    return {
        "stated": stated,
        "block": block,
        "true": {
            "energy": float(track.energy_wh[now]),
            "distance": float(track.distance_m[now]),
            "wh_per_km_20_s": track.wh_per_km(now, 20.0),
            "wh_per_km_300_s": track.wh_per_km(now, 300.0),
            "wh_per_km_trip": track.wh_per_km(now),
            "left": left_wh,
            "time_left": left_s,
            "range": left_m,
        },
        "now": instant(voyage, track, now, ahead),
        "meta": {
            "craft": world.name,
            "kind": kind,
            "world_seed": world_seed,
            "hold": voyage.leg.name,
            "since_s": since_s,
            "t_s": now * voyage.step_s,
            "limit": limit,
            "full_m": left_m * fulls,
            "full_s": left_s * fulls,
            "throttle": world.extras.throttle,
            "cold": pack.temperature_degc < 6.0,
        },
    }


def to_instant(
    world: World, manner: Manner, rng: np.random.Generator
) -> tuple[Voyage, Telemetry, int]:
    """Ride until a drawn share of the usable charge is used, a drawn time after the last change.

    Return the voyage, its telemetry, and the step of the last change.
    """
    voyage, telemetry = begun(world, manner)
    pack, stated = world.craft.battery, world.stated
    full = pack.start_fraction
    empty = reserve_charge(pack, stated.reserve_fraction)
    until = full - float(rng.uniform(0.05, 0.9)) * (full - empty)
    since_s = drawn_since_s(rng)
    last = manner.leg(world, rng, manner.axis_deg)
    # About what the last leg takes, so that the instant comes at the charge drawn.
    takes = 0.5 * world.most_w * since_s / 3600.0 / rest_energy_wh(pack, 1.0)
    course_deg = manner.axis_deg
    ended = until + takes >= full
    while not ended:
        if voyage.time_s > 0.6 * LONGEST_S:
            raise NoInstantError("not at the charge drawn within the time simulated")
        voyage.begin(manner.leg(world, rng, course_deg))
        seconds_s = float(rng.uniform(*LEG_S[manner.often]))
        ended = ride_for(voyage, seconds_s, until + takes, stated.cutoff_v)
        course_deg = None if manner.axis_deg is None else voyage.leg.course_deg
    if voyage.state.charge_fraction > until + takes + 0.01 and until + takes < full:
        raise NoInstantError("the pack gave out before the instant")
    changed = voyage.index
    voyage.begin(last if course_deg is None else replace(last, course_deg=course_deg))
    spare = empty + 0.03 * (full - empty)
    ended = ride_for(voyage, since_s, spare, stated.cutoff_v)
    if ended and voyage.state.charge_fraction > spare:
        raise NoInstantError("the pack gave out before the instant")
    return voyage, telemetry, changed


def drawn_since_s(rng: np.random.Generator) -> float:
    """Draw the time between the last change and the instant [s]."""
    low_s, high_s = SINCE_S[int(rng.integers(len(SINCE_S)))]
    return float(np.exp(rng.uniform(np.log(low_s), np.log(high_s))))


def instant(voyage: Voyage, track: Track, now: int, ahead: Ahead) -> Now:
    """Return the input for the informed estimator."""
    first = max(now - round(WINDOW_S / voyage.step_s), 0)
    seconds_s = (now - first) * voyage.step_s
    return Now(
        t_s=now * voyage.step_s,
        charge_ah=float(track.charge_ah[now]),
        energy_wh=float(track.energy_wh[now]),
        distance_m=float(track.distance_m[now]),
        power_w=float(track.energy_wh[now] - track.energy_wh[first]) * 3600.0 / seconds_s,
        speed_mps=max(float(track.distance_m[now] - track.distance_m[first]) / seconds_s, 0.1),
        wh_per_km_trip=track.wh_per_km(now),
        ahead=ahead,
    )


def ahead_of(voyage: Voyage, *, power_w: float, speed_mps: float, left_s: float) -> Ahead:
    """Return the riding to come, with what is held now."""
    return Ahead(
        power_w=power_w,
        speed_mps=speed_mps,
        left_s=left_s,
        at_speed=voyage.leg.speed_mps is not None,
        at_duty=voyage.leg.duty is not None,
        laps=isinstance(voyage, Shuttle),
        pack_degc=voyage.state.pack_degc,
    )


@lru_cache(maxsize=1)
def _fingerprint() -> str:
    here = Path(__file__).parent
    files = [path for path in (here.parent / "craft").glob("*.py") if "test_" not in path.name]
    files += [here / f"{name}.py" for name in SIMULATION]
    sums = hashlib.sha256()
    for path in sorted(files):
        code = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(code):
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
                node.value.value = ""  # a docstring
        sums.update(ast.dump(code).encode())
    return sums.hexdigest()[:10]
