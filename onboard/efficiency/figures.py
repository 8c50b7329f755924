"""What the engine gives: all figures at one instant. Names and units as in the JSON outputs."""

from dataclasses import dataclass

from onboard.efficiency.alerts import Alert
from onboard.efficiency.battery import BatteryState
from onboard.efficiency.figure import Estimate, Number, Unknown
from onboard.efficiency.home import WayHome
from onboard.efficiency.power_curve import Curve
from onboard.efficiency.runs import Run
from onboard.efficiency.steady_now import Steady, unknown_steady
from onboard.efficiency.target import Target
from onboard.efficiency.water import SetAndDrift


@dataclass(frozen=True)
class Consumption:
    """Wh/km over several windows, all ending now."""

    last_20_s: Estimate
    last_300_s: Estimate
    trip: Estimate
    since_mark: Estimate


def unknown_consumption(unknown: Unknown) -> Consumption:
    """Give consumption of which nothing is known."""
    return Consumption(unknown, unknown, unknown, unknown)


@dataclass(frozen=True)
class Trip:
    """Sums since the start of the stream.

    `mean_power_w` is energy over elapsed time, `mean_speed_mps` distance over time under way; the
    bridged fractions tell how much of energy and distance lies in gaps of the data.
    """

    energy_wh: Estimate
    charge_ah: Number
    distance_m: Estimate
    moving_s: Number
    elapsed_s: Number
    wh_per_km: Estimate
    mean_power_w: Number
    mean_speed_mps: Number
    max_speed_mps: Number
    bridged_energy_fraction: Number
    bridged_distance_fraction: Number


def unknown_trip(unknown: Unknown) -> Trip:
    """Give a trip of which nothing is known."""
    return Trip(
        energy_wh=unknown,
        charge_ah=unknown,
        distance_m=unknown,
        moving_s=unknown,
        elapsed_s=unknown,
        wh_per_km=unknown,
        mean_power_w=unknown,
        mean_speed_mps=unknown,
        max_speed_mps=unknown,
        bridged_energy_fraction=unknown,
        bridged_distance_fraction=unknown,
    )


@dataclass(frozen=True)
class Reach:
    """How far what is left will go: as now, at the target speed, at best [m]."""

    now: Estimate
    target: Estimate
    best: Estimate


@dataclass(frozen=True)
class Figures:
    """All figures at stream time `t_s`."""

    t_s: float
    power_w: Number
    volts_v: Number
    amps_a: Number
    speed_mps: Number
    wh_per_km: Consumption
    trip: Trip
    battery: BatteryState | Unknown
    range_m: Reach
    time_left_s: Estimate
    best_speed_mps: Estimate
    target: Target | Unknown
    home: WayHome | Unknown
    set_and_drift: SetAndDrift | Unknown
    curve: Curve | Unknown
    steady: Steady
    runs: tuple[Run, ...]
    alerts: tuple[Alert, ...]


def unknown_figures(unknown: Unknown, t_s: float) -> Figures:
    """Give figures of which nothing is known at stream time `t_s` [s]."""
    return Figures(
        t_s=t_s,
        power_w=unknown,
        volts_v=unknown,
        amps_a=unknown,
        speed_mps=unknown,
        wh_per_km=unknown_consumption(unknown),
        trip=unknown_trip(unknown),
        battery=unknown,
        range_m=Reach(unknown, unknown, unknown),
        time_left_s=unknown,
        best_speed_mps=unknown,
        target=unknown,
        home=unknown,
        set_and_drift=unknown,
        curve=unknown,
        steady=unknown_steady(unknown),
        runs=(),
        alerts=(),
    )
