"""Five rides of one pack: what is learned from one to the next, and do the intervals hold.

The rider marks nothing, marks each full charge, or also states what the charger's meter showed;
rides down to half of the charge, or nearly to empty. Energy left, as a share of the full pack, is
compared at three instants of each ride.
"""

import json
import math
from typing import Any

import numpy as np

from onboard.contract.figure import Figure
from onboard.efficiency.battery.learned_pack import carried_over, with_origin
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import (
    COUNT,
    GAIN,
    OFFSET,
    VOLTAGE,
    Spread,
    ratio,
)
from onboard.profile import Battery, Profile, Sensors
from tests.craft.chance import generator
from tests.evaluation.pack_rides import (
    FULL_SD,
    SERIES,
    PackRide,
    TruePack,
    draw_pack,
    draw_ride,
    put_back,
)
from tests.evaluation.statistics import markdown, percent, percentile, share

RIDES, INSTANTS = 5, 3
DAY_S = 86400.0
DOWN_TO = {"": (0.22, 0.6), " low": (0.05, 0.25)}
"""Range of the charge at the end of a ride."""

VARIANTS = {
    f"{chemistry} {marks}{low}": 1.0
    for chemistry in SERIES
    for marks in ("unmarked", "marked", "metered")
    for low in DOWN_TO
}


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride five times with one pack; return the engine's answers and the truth."""
    rng = generator(seed, "learned pack")
    chemistry, marks, *low = variant.split(" ")
    pack = draw_pack(rng, chemistry)
    profile = Profile(battery=Battery(chemistry, SERIES[chemistry], pack.stated_ah))
    saved: dict[str, Any] | None = None
    before: PackRide | None = None
    answers: list[dict[str, Any]] = []
    for number in range(RIDES):
        full = 1.0 + FULL_SD * float(rng.standard_normal())
        end = float(rng.uniform(*DOWN_TO["".join(f" {one}" for one in low)]))
        made = draw_ride(rng, pack, full, end, 600 if rng.random() < 0.6 else 30)
        counted, carried = carried_over(profile, saved)
        tested = Pack(profile.battery, counted.sensors)
        if carried is not None:
            tested.resume(carried["battery"], Away())
            tested.count.away(-math.inf, Away(DAY_S))
        seconds = _seconds(made, counted.sensors)
        tested.fold(seconds.part(0, 2))
        if marks == "metered" and before is not None:
            drain_ah = 0.01 * pack.stated_ah * rng.random() * (rng.random() < 0.5)
            charge_ah, energy_wh = put_back(pack, before, full, drain_ah)
            by_charge = rng.random() < 0.5
            tested.charged(("charged_ah", charge_ah) if by_charge else ("charged_wh", energy_wh))
        if marks != "unmarked":
            tested.charged_full()
        answers += _answers(rng, number, pack, tested, made, seconds)
        state = tested.as_dict(float(seconds.charge_ah[-1]), float(seconds.t_s[-1]))
        saved = json.loads(json.dumps({"battery": with_origin(state, profile, counted)}))
        before = made
    return {"answers": answers}


def _seconds(made: PackRide, sensors: Sensors) -> SettledSeconds:
    amps = sensors.current_scale * made.read_amps_a + sensors.current_offset_a
    volts = made.read_volts_v
    nothing = np.full(len(amps), np.nan)
    t_s, charge = np.arange(1.0, len(amps) + 1), np.cumsum(amps) / 3600.0
    return SettledSeconds(t_s, volts * amps, amps, volts, charge, *[nothing] * 8)


def _answers(  # noqa: PLR0917
    rng: np.random.Generator,
    number: int,
    pack: TruePack,
    tested: Pack,
    made: PackRide,
    seconds: SettledSeconds,
) -> list[dict[str, Any]]:
    """Fold a ride; return the answers at its instants."""
    count, reserve = len(made.amps_a), tested.reserve_fraction
    after = rng.uniform(0.05, 0.95, INSTANTS) * (count - 700) + 50
    instants = [80, *sorted(int(max(one, 81)) for one in after)]
    done, answers = 2, []
    for now in instants:
        tested.fold(seconds.part(done, now))
        done = now
        window = slice(max(now - 300, 20), now)
        power_w = float(np.mean(made.volts_v[window] * made.amps_a[window]))
        truth = pack.left_wh(float(made.fraction[now - 1]), power_w, made.degc, reserve)
        left = tested.summary(power_w)
        known = left.learned
        counted_ah = pack.full_ah / (1.0 + pack.gain) * _scale(seconds, made)
        answers.append(
            {
                "ride": number,
                "begun": now == instants[0],
                "left": _answer(left.left_wh, truth, pack.full_wh),
                "lasts": _answer(
                    _lasting_wh(tested, seconds, window, power_w), truth, pack.full_wh
                ),
                "capacity": _answer(known.capacity_ah, counted_ah, counted_ah),
                "gain": _answer(known.current_scale, 1.0 + pack.gain, 1.0),
            }
        )
    tested.fold(seconds.part(done, None))
    return answers


def _scale(seconds: SettledSeconds, made: PackRide) -> float:
    """Return the correction of the current with which the ride is counted."""
    return float(seconds.amps_a.sum() / made.read_amps_a.sum())


def _lasting_wh(tested: Pack, seconds: SettledSeconds, window: slice, power_w: float) -> Figure:
    """Return the energy left by the time that it lasts at the power now, as counted."""
    counted_w = float(np.mean(seconds.power_w[window]))
    gradient = np.zeros(COUNT)
    gradient[GAIN] = gradient[VOLTAGE] = counted_w
    gradient[OFFSET] = counted_w / float(np.mean(seconds.amps_a[window]))
    lasts = ratio(tested.left_spread(power_w), Spread(counted_w, gradient))
    whole = Spread(lasts.value * power_w, lasts.gradient * power_w, lasts.own_variance * power_w**2)
    return whole.figure(tested.covariance, 0.0)


def _answer(figure: Figure, truth: float, whole: float) -> dict[str, Any]:
    """Return error and half width as shares of a whole, and whether the interval holds."""
    assert figure.low is not None and figure.high is not None
    return {
        "error": (figure.value - truth) / whole,
        "half": (figure.high - figure.low) / 2.0 / whole,
        "holds": bool(figure.low <= truth <= figure.high),
    }


def table(rows: list[dict[str, Any]]) -> str:
    """Return what is known on the first and the last ride, by kind of pack and rider."""
    lines = []
    for variant in dict.fromkeys(row["variant"] for row in rows):
        answers = [one for row in rows if row["variant"] == variant for one in row["answers"]]
        later = [one for one in answers if not one["begun"]]
        for name in ("left", "lasts", "capacity", "gain"):
            one_ride = [[one[name] for one in later if one["ride"] == n] for n in (0, RIDES - 1)]
            lines.append([variant, name, *_cells(one_ride), _all(later, name)])
        begun = [[one["left"] for one in answers if one["begun"] and one["ride"] == n]
                 for n in (0, RIDES - 1)]  # fmt: skip
        lines.append([variant, "left, after a minute", *_cells(begun), "-"])
    head = ("kind", "figure", "error, first ride", "last ride", "half width, first ride",
            "last ride", "coverage, all rides")  # fmt: skip
    return markdown(
        f"learned_pack: {len(rows)} packs, errors median / 95th percentile", head, lines
    )


def _cells(rides: list[list[dict[str, Any]]]) -> list[str]:
    errors = [[abs(one["error"]) for one in answers] for answers in rides]
    halves = [[one["half"] for one in answers] for answers in rides]
    return [
        *(f"{percent(percentile(one, 50))} / {percent(percentile(one, 95))}" for one in errors),
        *(percent(percentile(one, 50)) for one in halves),
    ]


def _all(answers: list[dict[str, Any]], name: str) -> str:
    return share(sum(one[name]["holds"] for one in answers), len(answers))
