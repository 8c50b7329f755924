"""A complete snapshot of a ride, made from the contract's types: every figure is known.

A field renamed there fails here, and so in every test of what is shown.
"""

from dataclasses import replace
from typing import Any, TypeVar

from onboard.contract.advice import Stand, Standing, Target, WayHome
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.battery import BatteryState, LearnedPack
from onboard.contract.coach import Coach, Step, StepCode, TrialPlace, TrialStanding
from onboard.contract.figure import Figure
from onboard.contract.snapshot import (
    Consumption,
    Curve,
    DriveState,
    LinkState,
    Reach,
    Run,
    SetAndDrift,
    Snapshot,
    Steady,
    Trip,
)

Record = TypeVar("Record")


def around(value: float, share: float = 0.05) -> Figure:
    """Return a figure with an interval of `share` of its value to either side."""
    reach = abs(value) * share
    return Figure(value, value - reach, value + reach)


RUN = Run(
    number=1,
    setup="A",
    open=False,
    start_s=100.0,
    seconds_s=64.0,
    steady_s=41.0,
    power_w=402.0,
    speed_mps=2.2,
    course_deg=83.0,
    wh_per_km=around(51.0),
    long_enough=True,
)
CURVE = Curve(
    speed_mps=(1.0, 1.5, 2.0, 2.5, 3.0),
    power_w=(80.0, 170.0, 320.0, 560.0, 900.0),
    low_w=(70.0, 160.0, 305.0, 530.0, 840.0),
    high_w=(90.0, 180.0, 335.0, 590.0, 960.0),
    speed_kind="over_ground",
)
TARGET = Target(
    speed_mps=2.0,
    power_w=320.0,
    distance_m=5200.0,
    wh_per_km=46.0,
    difference_fraction=0.09,
    cue="ease",
    confidence_fraction=0.87,
    reason=Stand(Standing.AGAINST_CONSUMPTION, difference_fraction=0.09),
)
HOME = WayHome(
    distance_m=760.0,
    bearing_deg=123.0,
    energy_wh=around(31.0),
    margin_wh=around(540.0),
    speed_mps=2.0,
    turn_back=False,
)
ALERTS = (
    Alert(AlertCode.WEED, 75.0, more_fraction=0.24),
    Alert(AlertCode.COUNTERS_DISAGREE, 300.0, off_fraction=0.07),
)
COACH = Coach(
    kind="there_and_back",
    setups=("A", "B", "slim"),
    runs=(2, 2, 1),
    step=Step(StepCode.HOLD, target_w=400.0, left_s=42.0),
    ahead=("A", "slim", "slim", "A"),
    standing=TrialStanding(
        until_s=420.0,
        power_w=402.0,
        places=(
            TrialPlace("A", 0, Figure(0.0), 0.83),
            TrialPlace("slim", 0, Figure(0.012, -0.011, 0.035), 0.16),
            TrialPlace("B", 1, Figure(0.061, 0.034, 0.088), 0.01),
        ),
        told_fraction=0.028,
        enough=False,
        drop=("B",),
        rounds=2,
        cautions=("voltage_differs",),
    ),
)
RIDING = Snapshot(
    seq=12,
    t_s=431.2,
    newest_t_s=431.2,
    utc="2025-06-14T09:37:11.2Z",
    power_w=412.0,
    volts_v=51.2,
    amps_a=8.05,
    speed_mps=2.21,
    course_deg=83.0,
    heading_deg=80.0,
    position_deg=(45.01, -30.02),
    wh_per_km=Consumption(
        last_20_s=around(51.0), last_300_s=around(48.0), trip=around(48.2), since_mark=around(47.0)
    ),
    trip=Trip(
        energy_wh=around(93.0),
        charge_ah=1.82,
        distance_m=around(1930.0),
        moving_s=400.0,
        elapsed_s=431.0,
        wh_per_km=around(48.2),
        mean_power_w=388.0,
        mean_speed_mps=2.2,
        max_speed_mps=2.9,
        bridged_energy_fraction=0.0,
        bridged_distance_fraction=0.012,
    ),
    battery=BatteryState(
        left_wh=around(812.0),
        left_fraction=around(0.68),
        charge_fraction=around(0.88),
        resistance_ohm=Figure(0.05, 0.04, 0.06),
        learned=LearnedPack(Figure(24.2, 23.1, 25.3), 4, Figure(1.013, 0.991, 1.035), 2),
    ),
    range_m=Reach(now=around(16_400.0), target=around(17_600.0), best=around(22_000.0)),
    time_left_s=around(7090.0),
    best_speed_mps=Figure(1.5, 1.4, 1.6),
    target=TARGET,
    home=HOME,
    set_and_drift=SetAndDrift(
        east_mps=Figure(-0.29, -0.33, -0.25),
        north_mps=Figure(0.1, 0.06, 0.14),
        covariance_m2ps2=(4e-4, 0.0, 4e-4),
    ),
    drive=DriveState(rpm=1810.0, motor_amps_a=11.0, temperature_degc=47.0),
    curve=CURVE,
    steady=Steady(seconds_s=40.0, power_w=410.0, speed_mps=2.2, scatter_fraction=0.004),
    runs=(RUN, replace(RUN, number=2, course_deg=262.0, long_enough=False)),
    setup="A",
    setups=("A", "B"),
    reserve_fraction=0.2,
    alerts=ALERTS,
    link=LinkState(
        age_s=0.1,
        messages_per_s=31.0,
        messages=13_361,
        lost=0,
        bad_bytes=0,
        system_id=1,
        source="udpin:0.0.0.0:14550",
    ),
    coach=COACH,
)


def made_snapshot(**changes: Any) -> Snapshot:
    """Return the snapshot with some fields changed; `__` leads into a nested record.

    Examples
    --------
    >>> made_snapshot(power_w=500.0, trip__elapsed_s=9.0).trip.elapsed_s
    9.0
    """
    return changed(RIDING, **changes)


def changed(record: Record, **changes: Any) -> Record:
    """Return a record with some fields changed; `__` leads into a nested record.

    Raises
    ------
    TypeError
        If there is no such field.
    """
    here: dict[str, Any] = {}
    within: dict[str, dict[str, Any]] = {}
    for path, value in changes.items():
        name, _, rest = path.partition("__")
        if rest:
            within.setdefault(name, {})[rest] = value
        else:
            here[name] = value
    for name, parts in within.items():
        here[name] = changed(here.get(name, getattr(record, name)), **parts)
    result: Record = replace(record, **here)  # type: ignore[type-var]
    return result
