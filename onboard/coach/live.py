"""The coach in the daemon: the present ride is followed, and a child process reckons its record."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from onboard.coach.child import Answer, Reckoner, ReckonerError
from onboard.coach.coaching import Reckoned
from onboard.coach.following import Following
from onboard.contract.coach import Coach
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.ride.ride import Ride

NOT_RECORDED = Unknown(Reason.NOT_RECORDED)
FAILED = Unknown(Reason.RECKONING_FAILED)


class LiveCoach:
    """The coach of the ride that is shown.

    Parameters
    ----------
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    """

    def __init__(self, system_id: int | None = None) -> None:
        self._system_id = system_id
        self._following = Following()
        self._reckoner: Reckoner | None = None

    @property
    def child_pid(self) -> int | None:
        """Process id of the child that reckons; None without."""
        return None if self._reckoner is None else self._reckoner.pid

    def turn(self, ride: Ride, folders: Sequence[Path], stamp_us: int) -> None:
        """Follow the ride; take the child's answer if it is there, and ask if one is wanted.

        Parameters
        ----------
        ride
            The ride that is shown.
        folders
            Folders of the trip's sessions, oldest first; none without a record.
        stamp_us
            Stamp of the last frame folded [us].

        Raises
        ------
        ReckonerError
            If the child failed for good: from then on there is no standing.
        """
        begun = self._following.follow(ride)
        coaching = self._following.coaching
        if coaching is None:
            self.close()
            return
        if begun and not folders:
            coaching.never(NOT_RECORDED)
        if folders and (begun or self._reckoner is None or self._reckoner.folders != list(folders)):
            self.close()
            self._reckoner = Reckoner(list(folders), self._system_id)
        if self._reckoner is None:
            return
        try:
            answer = self._reckoner.poll()
            if answer is not None:
                coaching.learn(_in_ride(answer, ride, len(folders), stamp_us))
            if coaching.due:
                self._reckoner.ask()
        except ReckonerError:
            coaching.never(FAILED)
            raise

    def mark(self) -> None:
        """Have the record reckoned: the rider marked something."""
        if self._following.coaching is not None:
            self._following.coaching.mark()

    def now(self) -> Coach | Unknown:
        """Return what to ride now."""
        return self._following.now()

    def close(self) -> None:
        """End the child."""
        if self._reckoner is not None:
            self._reckoner.close()
            self._reckoner = None


def _in_ride(answer: Answer, ride: Ride, sessions: int, stamp_us: int) -> Reckoned:
    """Return what the child found, in the ride's stream time.

    The ride of several sessions counts its time from the first, the record from its own start.
    """
    reckoned = answer.reckoned
    if sessions < 2 or answer.zero_stamp_s is None:
        return reckoned
    shift_s = answer.zero_stamp_s - (stamp_us * 1e-6 - ride.t_s)
    standing = reckoned.standing
    if not isinstance(standing, Unknown):
        standing = replace(standing, until_s=standing.until_s + shift_s)
    runs = tuple(
        replace(run, start_s=run.start_s + shift_s, end_s=run.end_s + shift_s)
        for run in reckoned.runs
    )
    return replace(reckoned, until_s=reckoned.until_s + shift_s, runs=runs, standing=standing)
