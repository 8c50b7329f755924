"""The sums of a trip, each with its interval."""

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Number, Unknown, within
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Consumption, Trip
from onboard.efficiency.common_practice import HARDLY_MOVED_M
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.trip.consumption import Stretch, wh_per_km, window


def trip_sums(
    power: BatterySide | Unknown,
    speed: DistanceMeter | Unknown,
    together: Stretch | None,
    elapsed_s: float,
    covariance: FloatArray,
) -> Trip:
    """Return the sums so far.

    Parameters
    ----------
    power, speed
        The meters that the figures are based on.
    together
        The part of the trip that both meters counted; None without.
    elapsed_s
        Time since the first sample of the stream [s].
    covariance
        Of the shared errors, shape (5, 5).
    """
    energy = within(power, lambda side: side.spread().figure(covariance))
    distance = within(speed, lambda meter: meter.figure())
    return Trip(
        energy_wh=energy,
        charge_ah=within(power, lambda side: side.charge_ah),
        distance_m=distance,
        moving_s=within(speed, lambda meter: meter.moving.moving_s),
        elapsed_s=elapsed_s,
        wh_per_km=stretch_wh_per_km(energy, distance, together, covariance),
        mean_power_w=within(power, lambda side: _rate(side.energy_wh * 3600.0, elapsed_s)),
        mean_speed_mps=within(speed, lambda meter: _rate(meter.distance_m, meter.moving.moving_s)),
        max_speed_mps=within(speed, lambda meter: meter.track.max_speed_mps),
        bridged_energy_fraction=within(power, lambda side: _share(side.bridged_wh, side.energy_wh)),
        bridged_distance_fraction=within(
            speed, lambda meter: _share(meter.bridged_m, meter.distance_m)
        ),
    )


def consumption(
    power: BatterySide | Unknown,
    speed: DistanceMeter | Unknown,
    trip: Trip,
    since_mark: Stretch | Unknown | None,
    covariance: FloatArray,
) -> Consumption:
    """Return the consumption over the windows shown.

    Parameters
    ----------
    power, speed
        The meters, while they can be quoted as 'now'.
    trip
        The trip's sums.
    since_mark
        The part since the mark that both meters counted; unknown where no mark was set.
    covariance
        Of the shared errors, shape (5, 5).
    """
    since: Estimate = (
        since_mark
        if isinstance(since_mark, Unknown)
        else stretch_wh_per_km(trip.energy_wh, trip.distance_m, since_mark, covariance)
    )
    return Consumption(
        last_20_s=wh_per_km(window(20.0, power, speed), covariance),
        last_300_s=wh_per_km(window(300.0, power, speed), covariance),
        trip=trip.wh_per_km,
        since_mark=since,
    )


def stretch_wh_per_km(
    energy: Estimate, distance: Estimate, together: Stretch | None, covariance: FloatArray
) -> Estimate:
    """Return the consumption of a whole stretch, stops included [Wh/km]."""
    if isinstance(energy, Unknown):
        return energy
    if isinstance(distance, Unknown):
        return distance
    if together is None:
        return Unknown(Reason.NOT_TOGETHER)
    if together.distance_m.value < HARDLY_MOVED_M:
        return Unknown(Reason.HARDLY_MOVED)
    return together.wh_per_km().figure(covariance)


def _rate(amount: float, seconds_s: float) -> Number:
    return amount / seconds_s if seconds_s > 0 else Unknown(Reason.NO_TIME)


def _share(part: float, whole: float) -> float:
    return min(max(part / whole, 0.0), 1.0) if whole else 0.0
