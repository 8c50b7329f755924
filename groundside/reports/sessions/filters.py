"""Filter rides by date, set-up, label and distance. Dates are UTC."""

import datetime
from collections.abc import Iterable

from groundside.studies.rides import SeasonRide
from onboard.contract.figure import Unknown
from onboard.dataclass import dataclass
from onboard.errors import UsageError

EXPECTED = (
    "expected YYYY-MM-DD, or YYYY-MM-DDTHH:MM with Z or an offset such as +02:00; UTC without"
)


@dataclass(frozen=True)
class RideFilter:
    """Conditions on a ride; None is no condition. An unknown quantity meets no condition.

    Parameters
    ----------
    since, before
        The ride began at or after `since`, and before `before`.
    setup
        This set-up was used, possibly among others.
    label
        The label contains this, ignoring case.
    longer_than_m
        The distance exceeds this [m].
    """

    since: datetime.datetime | None = None
    before: datetime.datetime | None = None
    setup: str | None = None
    label: str | None = None
    longer_than_m: float | None = None

    def takes(self, ride: SeasonRide) -> bool:
        """Return whether a ride meets all conditions."""
        if self.since is not None or self.before is not None:
            start = started(ride)
            if start is None:
                return False
            if self.since is not None and start < self.since:
                return False
            if self.before is not None and start >= self.before:
                return False
        if self.setup is not None and self.setup not in ride.setups:
            return False
        if self.label is not None and self.label.casefold() not in ride.label.casefold():
            return False
        distance = ride.sums.distance_m
        return self.longer_than_m is None or (
            not isinstance(distance, Unknown) and distance.value > self.longer_than_m
        )


def filter_from(
    since: str | None,
    until: str | None,
    setup: str | None,
    label: str | None,
    longer_than_m: float | None,
) -> RideFilter:
    """Return the filter for the options of the command line.

    Parameters
    ----------
    since, until
        Days, both included; or moments, the second excluded.
    setup, label, longer_than_m
        See `RideFilter`.

    Raises
    ------
    UsageError
        If a date is invalid, or the last is before the first.
    """
    start = None if since is None else _moment("--since", since)[0]
    end = None
    if until is not None:
        end, is_day = _moment("--until", until)
        if is_day:
            try:
                end += datetime.timedelta(days=1)
            except OverflowError:
                raise UsageError(f"--until {until}: {EXPECTED}") from None
    if start is not None and end is not None and start >= end:
        raise UsageError(f"--until {until}: expected a date behind --since {since}")
    return RideFilter(start, end, setup, label, longer_than_m)


def newest_first(rides: Iterable[SeasonRide]) -> list[SeasonRide]:
    """Return rides newest first, those without a date last."""
    never = datetime.datetime.min.replace(tzinfo=datetime.UTC)
    return sorted(rides, key=lambda ride: (started(ride) or never, ride.name), reverse=True)


def started(ride: SeasonRide) -> datetime.datetime | None:
    """Return the start of a ride; None if unknown."""
    start_utc = ride.sums.start_utc
    if isinstance(start_utc, Unknown):
        return None
    try:
        return datetime.datetime.fromisoformat(start_utc)
    except ValueError:
        return None


def _moment(option: str, text: str) -> tuple[datetime.datetime, bool]:
    """Return a moment, and whether the text is a whole day.

    Examples
    --------
    >>> _moment("--since", "2025-06-15T10:30+02:00")[0].isoformat()
    '2025-06-15T08:30:00+00:00'
    """
    try:
        try:
            day = datetime.date.fromisoformat(text)
        except ValueError:
            moment = datetime.datetime.fromisoformat(text)
            if moment.tzinfo is None:
                moment = moment.replace(tzinfo=datetime.UTC)
            return moment.astimezone(datetime.UTC), False
        return datetime.datetime.combine(day, datetime.time(), datetime.UTC), True
    except (ValueError, OverflowError):
        raise UsageError(f"{option} {text!r}: {EXPECTED}") from None
