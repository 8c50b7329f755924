"""What the engine gives: all figures at one instant. Names and units as in the JSON outputs."""

from dataclasses import dataclass, replace

from onboard.efficiency.alerts import Alert
from onboard.efficiency.battery import BatteryState
from onboard.efficiency.figure import Estimate, Number, Unknown, throughout
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
    return replace(
        throughout(Figures)(unknown),
        t_s=t_s,
        wh_per_km=throughout(Consumption)(unknown),
        trip=throughout(Trip)(unknown),
        range_m=throughout(Reach)(unknown),
        steady=unknown_steady(unknown),
        runs=(),
        alerts=(),
    )
