"""A trial: legs of all logs on one clock, the power of comparison, and the comparison."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from groundside.reports.compare.marked_runs import RunSpan
from groundside.reports.compare.trial_log import TrialLog
from groundside.words.reasons import reason_text
from groundside.words.remarks import remark_text
from groundside.words.units import DEFAULT
from onboard.contract.figure import Unknown
from onboard.contract.remarks import Caution, Remark, RemarkCode
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.cautions import power_cautions, surroundings_cautions
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.double_runs import double_runs
from onboard.efficiency.trial.equal_power import curves_of, reference_power_w, slope_at
from onboard.efficiency.trial.leg import Leg, leg
from onboard.efficiency.trial.results import Comparison
from onboard.efficiency.trial.stretches import straight
from onboard.errors import UsageError
from onboard.profile import Sensors

OUTING_GAP_S = 3.0 * 3600.0
"""Pause that separates two outings, between which water, wind and charge change [s]. Common
practice, no source."""

PAUSE_S = 60.0
"""Pause assumed between logs without a usable clock, taken in the order given [s]."""


@dataclass(frozen=True)
class Trial:
    """A comparison, with its cautions and remarks.

    Parameters
    ----------
    comparison
        The ranking and its evidence.
    cautions
        Cautions on runs, order and surroundings.
    passed_over
        Remarks on marked spans without a run.
    """

    comparison: Comparison
    cautions: tuple[Caution, ...]
    passed_over: tuple[Remark, ...]


def run_trial(logs: list[tuple[TrialLog, list[RunSpan]]], sensors: Sensors) -> Trial:
    """Compare the set-ups used in some logs.

    Parameters
    ----------
    logs
        Logs, each with the spans in which to find runs.
    sensors
        The craft's sensors and their uncertainties.

    Raises
    ------
    UsageError
        If there is nothing to compare.
    """
    legs, passed_over = _legs(logs)
    setups = sorted({one.setup for one in legs})
    if len(setups) < 2:
        raise UsageError(_too_few_setups(setups, passed_over))
    # A way out at another power is not part of the trial: it has no way back at that power.
    paired = [legs[n] for double in double_runs(legs)[0] for n in double.legs] or legs
    power_w = reference_power_w(paired)
    slope = slope_at(power_w, curves_of(_steady_of(logs)))
    amps_a = sum(one.amps_a for one in paired) / len(paired)
    offset = sensors.current_offset_sd_a / max(amps_a, 0.1)
    shared = math.hypot(sensors.current_scale_sd, sensors.voltage_scale_sd, offset)
    found = compare(legs, power_w, slope, shared)
    if isinstance(found, Unknown):
        why = reason_text(found, DEFAULT)
        raise UsageError(f"compare: {why}: run each set-up there and back, at one power")
    counted = [legs[n] for double in found.evidence.doubles for n in double.legs]
    cautions = [*power_cautions(counted), *found.cautions, *surroundings_cautions(counted)]
    return Trial(found, tuple(cautions), tuple(passed_over))


def _too_few_setups(setups: list[str], passed_over: list[Remark]) -> str:
    if not setups:
        more = f" ({remark_text(passed_over[0], DEFAULT)})" if passed_over else ""
        return f"compare: no straight, steady run was found{more}"
    return (
        f"compare: runs of one set-up only, {setups[0]!r}: name the set-ups in a run sheet, "
        "[[run]] with setup, log, start_s, end_s, or mark them while riding"
    )


def _legs(logs: list[tuple[TrialLog, list[RunSpan]]]) -> tuple[list[Leg], list[Remark]]:
    legs: list[Leg] = []
    passed_over: list[Remark] = []
    for (log, spans), (outing, shift_s) in zip(logs, _clock([one for one, _ in logs]), strict=True):
        for span in spans:
            stretches = straight(log.seconds.between(span.start_s, span.end_s), marked=span.marked)
            if not stretches and span.marked:
                from_s = span.start_s + log.zero_s
                passed_over.append(
                    Remark(RemarkCode.NO_RUN_FOUND, log=log.path.name, from_s=from_s)
                )
            legs += [leg(one, span.setup, log.path.name).at(outing, shift_s) for one in stretches]
    return sorted(legs, key=lambda one: (one.outing, one.start_s)), passed_over


def _clock(logs: list[TrialLog]) -> list[tuple[int, float]]:
    """Return each log's outing, and the offset from stream time to the outing's clock [s]."""
    begins, order = [one.begins_s for one in logs], list(range(len(logs)))
    if None not in begins:
        order.sort(key=lambda n: begins[n] or 0.0)
    placed = _placed(logs, begins, order)
    if placed is None:
        # The logs overlap, but one craft cannot be on two rides at once: the clocks were wrong.
        placed = _placed(logs, [None] * len(logs), range(len(logs))) or {}
    return [placed[n] for n in range(len(logs))]


def _placed(
    logs: list[TrialLog], begins: Sequence[float | None], order: Iterable[int]
) -> dict[int, tuple[int, float]] | None:
    """Return `_clock`'s result, by log number; None if a log begins before the previous one ends.

    Parameters
    ----------
    logs
        The logs.
    begins
        Start of each [s since the Unix epoch]; None if unknown.
    order
        Numbers of the logs, in order of time.
    """
    placed: dict[int, tuple[int, float]] = {}
    outing, end_s = 0, 0.0
    for n in order:
        began = begins[n]
        start_s = end_s + PAUSE_S if began is None else began
        if placed and start_s < end_s:
            return None
        if placed and start_s - end_s > OUTING_GAP_S:
            outing += 1
        placed[n] = outing, start_s + logs[n].zero_s
        end_s = start_s + logs[n].zero_s + logs[n].lasts_s
    return placed


def _steady_of(logs: list[tuple[TrialLog, list[RunSpan]]]) -> dict[str, list[SteadyBlock]]:
    """Return the steady stretches within each set-up's spans."""
    found: dict[str, list[SteadyBlock]] = {}
    for log, spans in logs:
        only = {span.setup for span in spans}
        for block in log.steady:
            inside = {span.setup for span in spans if span.start_s < block.t_s <= span.end_s}
            for setup in inside or (only if len(only) == 1 else set()):
                found.setdefault(setup, []).append(block)
    return found
