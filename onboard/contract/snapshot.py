"""The snapshot: everything that a viewer needs at one instant, complete in itself.

Names end in their units: see the glossary in `README.md`. What is unknown comes with its reason.
"""

from dataclasses import replace
from typing import Literal

from onboard.contract.advice import Target, WayHome
from onboard.contract.alerts import Alert
from onboard.contract.battery import BatteryState
from onboard.contract.coach import Coach
from onboard.contract.figure import Estimate, Number, Unknown, throughout
from onboard.dataclass import dataclass

SCHEMA = 2

SpeedKind = Literal["through_water", "over_ground"]


@dataclass(frozen=True)
class Consumption:
    """Wh/km over several windows, all ending now.

    Parameters
    ----------
    last_20_s, last_300_s
        Over so many seconds.
    trip
        Over the trip.
    since_mark
        Since the rider's mark.
    """

    last_20_s: Estimate
    last_300_s: Estimate
    trip: Estimate
    since_mark: Estimate


@dataclass(frozen=True)
class Trip:
    """Sums since the start of the stream.

    Parameters
    ----------
    energy_wh, charge_ah
        Drawn from the battery.
    distance_m
        Over ground.
    moving_s
        Time under way.
    elapsed_s
        Total time, at rest too.
    wh_per_km
        Energy over distance.
    mean_power_w
        Energy over elapsed time.
    mean_speed_mps
        Distance over time under way.
    max_speed_mps
        Highest speed over ground.
    bridged_energy_fraction, bridged_distance_fraction
        How much of it was bridged over gaps in the data.
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
    """How far the energy left will go [m].

    Parameters
    ----------
    now
        Carrying on as now.
    target
        At the target speed.
    best
        At the best speed.
    """

    now: Estimate
    target: Estimate
    best: Estimate


@dataclass(frozen=True)
class Curve:
    """Battery power against speed, within the speeds ridden, with a 95 % band.

    Parameters
    ----------
    speed_mps, power_w
        Points of the curve.
    low_w, high_w
        Ends of the band at these points.
    speed_kind
        Through water, or over ground where the water is not known.
    """

    speed_mps: tuple[float, ...]
    power_w: tuple[float, ...]
    low_w: tuple[float, ...]
    high_w: tuple[float, ...]
    speed_kind: SpeedKind


@dataclass(frozen=True)
class Steady:
    """The steady stretch up to now.

    Parameters
    ----------
    seconds_s
        How long it has lasted; zero if nothing is steady.
    power_w, speed_mps
        Means over the stretch.
    scatter_fraction
        Standard error of power over speed, as a share of that ratio.
    """

    seconds_s: float
    power_w: Number
    speed_mps: Number
    scatter_fraction: Number


@dataclass(frozen=True)
class Run:
    """A run as far as it has gone.

    Parameters
    ----------
    number
        Counts from 1 in each trip.
    setup
        The set-up's label.
    open
        Whether it is still going on.
    start_s
        When it began, in stream time.
    seconds_s
        How long it has lasted.
    steady_s
        Its longest steady stretch.
    power_w, speed_mps, course_deg
        Means over the whole run.
    wh_per_km
        Energy over distance, over the whole run.
    long_enough
        Whether its steady stretch is long enough to count.
    """

    number: int
    setup: str
    open: bool
    start_s: float
    seconds_s: float
    steady_s: float
    power_w: Number
    speed_mps: Number
    course_deg: Number
    wh_per_km: Estimate
    long_enough: bool


@dataclass(frozen=True)
class SetAndDrift:
    """The water current together with the push of the wind.

    Parameters
    ----------
    east_mps, north_mps
        Its components; unknown where the courses ridden do not determine them.
    covariance_m2ps2
        East-east, east-north, north-north; of both components, even one that is unknown.
    """

    east_mps: Estimate
    north_mps: Estimate
    covariance_m2ps2: tuple[float, float, float]


@dataclass(frozen=True)
class DriveState:
    """What the motor drive reports.

    Parameters
    ----------
    rpm, motor_amps_a, temperature_degc
        Of the first motor.
    """

    rpm: Number
    motor_amps_a: Number
    temperature_degc: Number


@dataclass(frozen=True)
class LinkState:
    """How well the link works.

    Parameters
    ----------
    age_s
        Time since the last message of the craft that is followed.
    messages_per_s
        Its rate of messages over the last seconds.
    messages
        Messages received and folded, as are all counts here.
    lost
        Messages of that craft that did not arrive, by their sequence numbers.
    bad_bytes
        Bytes that belong to no message.
    system_id
        The MAVLink system that is followed.
    source
        Where the messages come from: the link's connection string, or a log's name.
    """

    age_s: Number
    messages_per_s: Number
    messages: int
    lost: int
    bad_bytes: int
    system_id: int | Unknown
    source: str


@dataclass(frozen=True)
class Figures:
    """All figures and instruments at one instant of stream time.

    Between two folds a daemon sends snapshots in which only the newest readings are new: power_w,
    volts_v, amps_a, speed_mps, course_deg, heading_deg and position_deg, all at `newest_t_s`, and
    the age of the link's last message. All else is of `t_s`, at most a second older.

    Parameters
    ----------
    t_s
        Stream time of the sums and of all that is computed.
    power_w, volts_v, amps_a
        On the battery side, corrected as the profile says.
    speed_mps, course_deg
        Over ground.
    heading_deg
        Where the bow points.
    position_deg
        Latitude and longitude.
    wh_per_km
        Consumption over several windows.
    trip
        Sums since the start of the stream.
    battery
        The energy left, and the pack's resistance.
    range_m
        How far the energy left will go.
    time_left_s
        How long it will last, carrying on as now or resting as in the last minutes.
    best_speed_mps
        The speed over ground with the lowest consumption, on the present course.
    target
        How the ride compares with the target.
    home
        The way home: what it takes and what that leaves.
    set_and_drift
        The water current together with the push of the wind.
    drive
        What the motor drive reports.
    curve
        Battery power against speed with the set-up in use.
    steady
        The steady stretch up to now.
    runs
        The newest runs, oldest first.
    setup
        Label of the set-up in use.
    setups
        Labels of all set-ups used so far.
    reserve_fraction
        Share to keep of the pack's present full energy.
    alerts
        What the rider should know.
    """

    t_s: float
    power_w: Number
    volts_v: Number
    amps_a: Number
    speed_mps: Number
    course_deg: Number
    heading_deg: Number
    position_deg: tuple[float, float] | Unknown
    wh_per_km: Consumption
    trip: Trip
    battery: BatteryState | Unknown
    range_m: Reach
    time_left_s: Estimate
    best_speed_mps: Estimate
    target: Target | Unknown
    home: WayHome | Unknown
    set_and_drift: SetAndDrift | Unknown
    drive: DriveState | Unknown
    curve: Curve | Unknown
    steady: Steady
    runs: tuple[Run, ...]
    setup: str
    setups: tuple[str, ...]
    reserve_fraction: Number
    alerts: tuple[Alert, ...]


@dataclass(frozen=True)
class Snapshot(Figures):
    """The figures, with the state of the link and a running number.

    Parameters
    ----------
    seq
        Grows by one with each snapshot of a daemon.
    newest_t_s
        Stream time of the newest readings: `t_s`, or up to a second later.
    utc
        Date and time by the autopilot's clock, at `t_s`.
    link
        How well the link works.
    coach
        The coach of the trial that is being ridden.
    """

    seq: int
    newest_t_s: Number
    utc: str | Unknown
    link: LinkState
    coach: Coach | Unknown


def unknown_steady(unknown: Unknown) -> Steady:
    """Return a steady stretch with nothing known."""
    return replace(throughout(Steady)(unknown), seconds_s=0.0)


def unknown_figures(unknown: Unknown, t_s: float, setup: str) -> Figures:
    """Return figures with nothing known.

    Parameters
    ----------
    unknown
        Why.
    t_s
        Stream time [s].
    setup
        The set-up in use.
    """
    return replace(
        throughout(Figures)(unknown),
        t_s=t_s,
        wh_per_km=throughout(Consumption)(unknown),
        trip=throughout(Trip)(unknown),
        range_m=throughout(Reach)(unknown),
        steady=unknown_steady(unknown),
        runs=(),
        setup=setup,
        setups=(setup,),
        alerts=(),
    )


def unknown_snapshot(unknown: Unknown, source: str) -> Snapshot:
    """Return a snapshot with nothing known, as a viewer shows it before the first one.

    Parameters
    ----------
    unknown
        Why.
    source
        Where snapshots are to come from.
    """
    link = LinkState(unknown, unknown, 0, 0, 0, unknown, source)
    return Snapshot(
        **vars(unknown_figures(unknown, 0.0, "")),
        seq=0,
        newest_t_s=unknown,
        utc=unknown,
        link=link,
        coach=unknown,
    )
