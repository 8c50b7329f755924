"""Remarks on a whole log: which craft, what is missing, what its sums omit."""

from collections.abc import Iterator

from groundside.reports.review.instruments import Instruments
from groundside.studies.review_result import LogEvent
from onboard.contract.figure import Unknown
from onboard.contract.log_remarks import LogRemark, LogRemarkCode
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import LogFacts

BAD_FRACTION = 0.03
"""Share of unreadable bytes from which a log counts as damaged."""


def log_remarks(
    ride: Ride,
    facts: LogFacts,
    instruments: Instruments,
    snapshot: Snapshot,
    start_utc: str | Unknown,
) -> list[LogEvent]:
    """Return the remarks on a log read to its end, as events.

    Parameters
    ----------
    ride
        The ride, with the whole log folded in.
    facts
        The log's own facts.
    instruments
        What was gathered of the instruments in it.
    snapshot
        The last one of the ride, with the reasons of a log read to its end.
    start_utc
        Start of the log.
    """
    whole = [
        *_damaged(facts),
        *_archive(facts),
        *_missing_files(facts),
        *_craft(ride),
        *_unmeasured(ride, snapshot, start_utc),
        *instruments.remarks(snapshot.trip.moving_s),
        *_batteries(ride),
        *_receivers(facts),
    ]
    return [
        *(LogEvent(0.0, remark) for remark in whole),
        *(LogEvent(ride.t_s, remark) for remark in _silent_at_end(snapshot)),
    ]


def _damaged(facts: LogFacts) -> Iterator[LogRemark]:
    share = facts.bad_bytes / max(facts.size_bytes, 1)
    if share >= BAD_FRACTION:
        yield LogRemark(LogRemarkCode.DAMAGED, bad_fraction=share)


def _archive(facts: LogFacts) -> Iterator[LogRemark]:
    if facts.archive_damage == "cut":
        yield LogRemark(LogRemarkCode.ARCHIVE_CUT)
    elif facts.archive_damage:
        yield LogRemark(LogRemarkCode.ARCHIVE_CHECKSUM)


def _missing_files(facts: LogFacts) -> Iterator[LogRemark]:
    if facts.missing:
        yield LogRemark(LogRemarkCode.FILE_MISSING, files=facts.missing)


def _craft(ride: Ride) -> Iterator[LogRemark]:
    craft = ride.decoder.craft
    if not craft.frames:
        return
    if craft.system_id is None:
        yield LogRemark(LogRemarkCode.NO_AUTOPILOT)
    elif craft.others:
        others = tuple(sorted(craft.others))
        yield LogRemark(LogRemarkCode.OTHER_CRAFT, other_systems=others, system=craft.system_id)


def _unmeasured(ride: Ride, snapshot: Snapshot, start_utc: str | Unknown) -> Iterator[LogRemark]:
    """Yield remarks on the quantities that the log lacks."""
    if ride.engine.latest.first_s is None:
        return
    energy, distance = snapshot.trip.energy_wh, snapshot.trip.distance_m
    if isinstance(energy, Unknown) and energy.code is not Reason.CURRENT_DEAD:
        yield LogRemark(LogRemarkCode.NO_POWER, reason=energy)
    if isinstance(distance, Unknown):
        yield LogRemark(LogRemarkCode.NO_SPEED, reason=distance)
    if ride.utc is None:
        dated_by = "nothing" if isinstance(start_utc, Unknown) else "stamps"
        yield LogRemark(LogRemarkCode.CLOCK_NOT_SET, dated_by=dated_by)


def _batteries(ride: Ride) -> Iterator[LogRemark]:
    packs, silent = ride.engine.packs, ride.engine.unmeasured_packs
    if len(packs) > 1:
        yield LogRemark(LogRemarkCode.PACKS_SUMMED, packs=tuple(packs))
    if packs and silent:
        yield LogRemark(LogRemarkCode.PACKS_UNMEASURED, packs=tuple(silent))


def _receivers(facts: LogFacts) -> Iterator[LogRemark]:
    if len(facts.receivers) > 1:
        yield LogRemark(LogRemarkCode.SEVERAL_RECEIVERS, receivers=facts.receivers)


def _silent_at_end(snapshot: Snapshot) -> Iterator[LogRemark]:
    for figure, counted in (
        (snapshot.power_w, snapshot.trip.energy_wh),
        (snapshot.speed_mps, snapshot.trip.distance_m),
    ):
        if isinstance(figure, Unknown) and not isinstance(counted, Unknown):
            yield LogRemark(LogRemarkCode.SILENT_AT_END, reason=figure)
