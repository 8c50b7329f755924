"""Kinds of afternoons with propellers, and the draw of one."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.evaluation.propeller_days import Afternoon, Hull, Sea


@dataclass(frozen=True)
class Kind:
    """A kind of afternoon.

    Parameters
    ----------
    costs
        Extra Wh/km of the set-ups; they are shuffled.
    laps
        Whether laps are ridden, else double runs.
    change
        What is not as on other days.
    order
        Indices of the set-ups in the order ridden without a coach; empty if only the coach's.
    coach
        Whether the coach's day is ridden too.
    """

    costs: tuple[float, ...]
    laps: bool = False
    change: Callable[[Afternoon, np.random.Generator], Afternoon] = lambda day, rng: day
    order: tuple[int, ...] = ()
    coach: bool = True


def _across(drift_mps: float) -> Callable[[Afternoon, np.random.Generator], Afternoon]:
    def change(day: Afternoon, rng: np.random.Generator) -> Afternoon:
        set_deg = day.course_deg + float(rng.choice([-90.0, 90.0]) + rng.uniform(-10.0, 10.0))
        return replace(day, sea=Sea(drift_mps, set_deg))

    return change


def _tide(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    tide = Sea(
        tide_mps=float(rng.uniform(0.15, 0.4)),
        tide_deg=day.course_deg + float(rng.uniform(-40.0, 40.0)),
        tide_phase_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
    )
    return replace(day, sea=tide)


def _gusts(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    gust_mps, memory_s = float(rng.uniform(0.03, 0.1)), float(rng.uniform(20.0, 120.0))
    return replace(day, sea=replace(day.sea, gust_mps=gust_mps, gust_memory_s=memory_s))


def _step(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(
        day,
        step=float(rng.uniform(-0.06, 0.06)),
        step_at_s=float(rng.uniform(0.0, 6000.0)),
        step_is_outing=bool(rng.random() < 0.5),
    )


def _step_at_swap(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(day, step=float(rng.uniform(-0.06, 0.06)), step_at_s=0.0)


def _five_per_cent(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(day, step=0.05 * float(rng.choice([-1.0, 1.0])), step_at_s=0.0)


def _drift(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(
        day,
        drift=float(rng.choice([-1.0, 1.0]) * rng.uniform(0.01, 0.06)),
        drift_shape=float(rng.choice([0.5, 1.0, 2.0])),
    )


def _outlier(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    return replace(day, outlier_run=int(rng.integers(8)), outlier=float(rng.uniform(0.85, 0.95)))


def _other_pack(day: Afternoon, rng: np.random.Generator) -> Afternoon:
    name = str(rng.choice(list(day.costs)))
    return replace(day, volts={name: 25.0 * float(rng.uniform(0.9, 1.1))})


def _quiet(sd: float) -> Callable[[Afternoon, np.random.Generator], Afternoon]:
    """Return a day whose scatter is known and whose water is steady."""

    def change(day: Afternoon, rng: np.random.Generator) -> Afternoon:
        del rng
        steady = Sea(day.sea.drift_mps, day.sea.set_deg)
        return replace(day, sd=sd, heavy=False, sea=steady)

    return change


SEVEN = (0.0,) * 7
IN_TURNS = tuple(range(7)) + tuple(reversed(range(7))) + tuple(range(7))
TWO_IN_TURNS, THREE_IN_TURNS = (0, 1, 1, 0) * 2, (0, 1, 2, 2, 1, 0) * 2
BEST_OF_SEVEN = (-0.06, *SEVEN[1:])
KINDS: dict[str, Kind] = {
    "two equal": Kind((0.0, 0.0), order=TWO_IN_TURNS),
    "three equal": Kind((0.0,) * 3, order=THREE_IN_TURNS),
    "seven equal": Kind(SEVEN, order=IN_TURNS),
    "two equal, laps": Kind((0.0, 0.0), laps=True, order=TWO_IN_TURNS),
    "three equal, laps": Kind((0.0,) * 3, laps=True, order=THREE_IN_TURNS),
    "seven equal, laps": Kind(SEVEN, laps=True, order=IN_TURNS),
    "two best equal of seven": Kind((0.0, 0.0, 0.03, 0.05, 0.06, 0.08, 0.1)),
    "two best equal of seven, laps": Kind((0.0, 0.0, 0.03, 0.05, 0.06, 0.08, 0.1), laps=True),
    "0.08 m/s across": Kind((0.0, 0.0), change=_across(0.08)),
    "0.15 m/s across": Kind((0.0, 0.0), change=_across(0.15)),
    "0.3 m/s across": Kind((0.0, 0.0), change=_across(0.3)),
    "three equal, 0.3 m/s across": Kind((0.0,) * 3, change=_across(0.3)),
    "tide": Kind((0.0, 0.0), change=_tide),
    "gusts": Kind((0.0,) * 3, change=_gusts),
    "gusts, laps": Kind((0.0,) * 3, laps=True, change=_gusts),
    "a step between runs": Kind((0.0,) * 3, change=_step),
    "a step between runs, laps": Kind((0.0,) * 3, laps=True, change=_step),
    "drift": Kind((0.0,) * 3, change=_drift),
    "drift, laps": Kind((0.0,) * 3, laps=True, change=_drift),
    "one run wrong": Kind((0.0,) * 3, change=_outlier, order=THREE_IN_TURNS),
    "one lap wrong": Kind((0.0,) * 3, laps=True, change=_outlier, order=THREE_IN_TURNS),
    "another pack": Kind((0.0,) * 3, change=_other_pack),
    "A A A A B B B B, step up to 6 %": Kind(
        (0.0, 0.0), change=_step_at_swap, order=(0, 0, 0, 0, 1, 1, 1, 1), coach=False
    ),
    "A A A A B B B B, step of 5 %": Kind(
        (0.0, 0.0), change=_five_per_cent, order=(0, 0, 0, 0, 1, 1, 1, 1), coach=False
    ),
    "A A A A B B B B, no step": Kind((0.0, 0.0), order=(0, 0, 0, 0, 1, 1, 1, 1), coach=False),
    "best of seven 6 % ahead, laps of 1.5 %": Kind(
        BEST_OF_SEVEN, laps=True, change=_quiet(0.015), order=IN_TURNS
    ),
    "seven in steps of 3 %, laps of 1.5 %": Kind(
        tuple(0.03 * n for n in range(7)), laps=True, change=_quiet(0.015), order=IN_TURNS
    ),
    "two 3 % apart, double runs of 1.2 %": Kind(
        (0.0, 0.03), change=_quiet(0.012), order=TWO_IN_TURNS
    ),
    "two 6 % apart, double runs of 1.2 %": Kind(
        (0.0, 0.06), change=_quiet(0.012), order=TWO_IN_TURNS
    ),
}


def drawn(kind: Kind, rng: np.random.Generator) -> Afternoon:
    """Draw an afternoon of a kind."""
    power_w, hotel_w = float(rng.uniform(150.0, 700.0)), float(rng.uniform(3.0, 20.0))
    hull = Hull(
        hotel_w=hotel_w,
        power_w=power_w,
        speed_mps=float(rng.uniform(1.4, 3.0)),
        wave_share=float(rng.uniform(0.0, 0.6)),
        steepness=float(rng.uniform(4.0, 6.0)),
    )
    names = [chr(ord("a") + n) for n in range(len(kind.costs))]
    costs = dict(zip(names, rng.permutation(kind.costs).tolist(), strict=True))
    least = 0.007 if kind.laps else 0.005
    day = Afternoon(
        hull,
        costs,
        laps=kind.laps,
        sd=math.exp(float(rng.uniform(math.log(least), math.log(0.03)))),
        leg_share=float(rng.uniform(0.2, 0.8)),
        heavy=bool(rng.random() < 0.25),
        sea=Sea(
            drift_mps=float(rng.uniform(0.0, 0.4)),
            set_deg=float(rng.uniform(0.0, 360.0)),
            tide_mps=float(rng.uniform(0.0, 0.1)),
            tide_deg=float(rng.uniform(0.0, 360.0)),
            tide_phase_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
            gust_mps=float(rng.uniform(0.0, 0.02)),
        ),
        holds_track=bool(rng.random() < 0.5),
        course_deg=float(rng.uniform(0.0, 360.0)),
        bend_deg=3.0 * float(rng.standard_normal()),
        leg_s=float(rng.uniform(55.0, 140.0)),
        lap_m=float(rng.uniform(250.0, 800.0)),
        lap_aspect=float(rng.uniform(1.0, 4.0)),
        turn_loss=float(rng.uniform(0.02, 0.08)),
        power_off=0.02 * float(rng.standard_normal()),
        power_sd=float(rng.uniform(0.003, 0.015)),
        setup_off={name: 0.01 * float(rng.standard_normal()) for name in names},
        tilts={name: 0.1 * float(rng.standard_normal()) for name in names},
        gain=1.0 + 0.015 * float(rng.standard_normal()),
    )
    return kind.change(day, rng)
