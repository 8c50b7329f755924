"""What is to be said once of a log: whose it is, what it lacks, and what its sums leave out."""

from collections.abc import Iterable
from typing import Any

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.ride import Ride
from onboard.telemetry.log_files import LogFacts

BAD_FRACTION = 0.03
"""More unreadable bytes than this say that something is wrong with the log."""


def remarks(
    ride: Ride, facts: LogFacts, snapshot: Snapshot, start_utc: str | None
) -> list[dict[str, Any]]:
    """Give the remarks on a log that was read to its end, as events.

    Parameters
    ----------
    ride
        The ride that took in the whole log.
    facts
        What the log says of itself.
    snapshot
        The ride's last.
    start_utc
        When the log begins, None where that is not known.
    """
    return [
        *_damaged(facts),
        *_missing(facts),
        *_whose(ride, facts),
        *_lacking(ride, snapshot, start_utc),
        *_batteries(ride),
        *_receivers(facts),
        *_silent_at_end(ride, snapshot),
    ]


def _remark(code: str, text: str, t_s: float = 0.0) -> dict[str, Any]:
    return {"t_s": t_s, "code": code, "text": text}


def _damaged(facts: LogFacts) -> list[dict[str, Any]]:
    share = facts.bad_bytes / max(facts.size_bytes, 1)
    if share < BAD_FRACTION:
        return []
    text = f"{share:.0%} of this log cannot be read: it is damaged. Only the rest is summed up."
    return [_remark("damaged", text)]


def _missing(facts: LogFacts) -> list[dict[str, Any]]:
    if not facts.missing:
        return []
    names = ", ".join(facts.missing)
    text = f"Missing from this session's folder: {names}. What was recorded there is in no sum."
    return [_remark("file_missing", text)]


def _whose(ride: Ride, facts: LogFacts) -> list[dict[str, Any]]:
    craft = ride.decoder.craft
    if facts.format != "telemetry":
        return []
    if craft.system_id is None:
        text = "No autopilot is in this log: there is no craft to sum up."
        return [_remark("no_autopilot", text)]
    others = _listed(sorted(craft.others))
    if not others:
        return []
    text = f"Another craft is in this log (system {others}); system {craft.system_id} is followed."
    return [_remark("other_craft", text)]


def _lacking(ride: Ride, snapshot: Snapshot, start_utc: str | None) -> list[dict[str, Any]]:
    """Say which instruments the log has nothing of."""
    if ride.engine.latest.first_s is None:
        return []
    found = []
    energy, distance = snapshot.trip.energy_wh, snapshot.trip.distance_m
    if isinstance(energy, Unknown):
        text = f"No battery power in this log ({energy.why}): no energy, no Wh/km, no range."
        found.append(_remark("no_power", text))
    if isinstance(distance, Unknown):
        text = f"No speed in this log ({distance.why}): no distance, no Wh/km, no range."
        found.append(_remark("no_speed", text))
    if ride.utc is None:
        dated = "its date is that of the stamps" if start_utc else "it has no date"
        text = f"The autopilot's clock was never set in this log: {dated}."
        found.append(_remark("clock_not_set", text))
    return found


def _batteries(ride: Ride) -> list[dict[str, Any]]:
    found, packs, silent = [], ride.engine.packs, ride.engine.unmeasured_packs
    if len(packs) > 1:
        text = f"Energy is the sum of the batteries that measure current: {_listed(packs)}."
        found.append(_remark("packs_summed", text))
    if packs and silent:
        text = f"What is drawn from battery {_listed(silent)} is not measured: it is in no sum."
        found.append(_remark("packs_unmeasured", text))
    return found


def _receivers(facts: LogFacts) -> list[dict[str, Any]]:
    if len(facts.receivers) <= 1:
        return []
    text = f"There are several GPS receivers in this log ({_listed(facts.receivers)}); one counts."
    return [_remark("several_receivers", text)]


def _listed(numbers: Iterable[int]) -> str:
    return ", ".join(str(number) for number in numbers)


def _silent_at_end(ride: Ride, snapshot: Snapshot) -> list[dict[str, Any]]:
    found = []
    for figure, counted in (
        (snapshot.power_w, snapshot.trip.energy_wh),
        (snapshot.speed_mps, snapshot.trip.distance_m),
    ):
        if isinstance(figure, Unknown) and not isinstance(counted, Unknown):
            text = f"At the end of this log: {figure.why}. What happened then is in no sum."
            found.append(_remark("silent_at_end", text, ride.t_s))
    return found
