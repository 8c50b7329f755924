"""How far the pack goes at the speed of the cruise."""

import math
from dataclasses import replace

import pytest

from groundside.reports.compare.cruise_range import CruiseRange, cruise_range
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.trial import Trial
from onboard.errors import UsageError
from onboard.profile import Battery, Profile, Sensors
from tests.onboard.efficiency.trial.made_legs import Runs

EXACT = Sensors(current_scale_sd=0.0, voltage_scale_sd=0.0, current_offset_sd_a=0.0)
PACK = Battery(
    "lfp", 8, energy_wh=1000.0, reserve_fraction=0.2, start_fraction=1.0, start_sd=0.0,
    resistance_ohm=1e-4, capacity_sd=0.0,
)  # fmt: skip
Z_95 = 1.959964


def trial() -> Trial:
    found = compare(Runs("abba", slope=1 / 3).legs(), 400.0, CurveSlope(1 / 3, 0.0, True), 0.0)
    assert not isinstance(found, Unknown)
    return Trial(found, (), ())


def ranges(battery: Battery | None, wh: float | None = None, sensors: Sensors = EXACT):
    return cruise_range(1.8, trial(), Profile(battery=battery, sensors=sensors), wh)


def known(found: CruiseRange, n: int = 0) -> Figure:
    figure = found.range_m[n]
    assert isinstance(figure, Figure)
    return figure


def sd_of(figure: Figure) -> float:
    return math.log(figure.high / figure.low) / 2.0 / Z_95  # type: ignore[operator]


def test_the_range_is_the_energy_above_the_reserve_over_the_consumption() -> None:
    # 800 Wh above the reserve; 45 Wh/km at 1.8 m/s (test_cruise): 17.8 km. Cells give 1 to 2 %
    # less in warm weather than their open-circuit curve.
    assert known(ranges(PACK)).value == pytest.approx(800.0 / 45.0 * 1000.0, rel=0.03)
    a, b = (known(ranges(PACK), n).value for n in (0, 1))
    assert a / b == pytest.approx((2.0 / 1.9) ** 3, rel=0.01)


def test_a_stated_energy_takes_the_place_of_the_profile_s() -> None:
    half = known(ranges(PACK, 500.0)).value
    assert half == pytest.approx(known(ranges(PACK)).value / 2.0, rel=0.01)


def test_the_interval_holds_the_consumption_the_pack_and_the_sensors() -> None:
    plain = ranges(PACK)
    own = plain.cruise.setups[0].sd_fraction
    assert sd_of(known(plain)) >= own * (1.0 - 1e-9)
    capacity = sd_of(known(ranges(replace(PACK, capacity_sd=0.05))))
    # Of what is above the reserve: 5 % of 1000 Wh, less 20 % of as much kept.
    assert math.sqrt(capacity**2 - sd_of(known(plain)) ** 2) == pytest.approx(0.05, rel=0.3)
    gain = sd_of(known(ranges(PACK, sensors=replace(EXACT, current_scale_sd=0.04))))
    assert math.sqrt(gain**2 - sd_of(known(plain)) ** 2) == pytest.approx(0.04, rel=0.1)


def test_without_a_battery_there_is_no_range() -> None:
    assert ranges(None).range_m == (Unknown(Reason.NO_BATTERY),) * 2
    with pytest.raises(UsageError, match="has no \\[battery\\]"):
        ranges(None, 500.0)


def test_where_the_consumption_is_unknown_so_is_the_range() -> None:
    far = cruise_range(1.0, trial(), Profile(battery=PACK, sensors=EXACT), None)
    assert far.range_m == (Unknown(Reason.NOT_LEARNED_THERE),) * 2
