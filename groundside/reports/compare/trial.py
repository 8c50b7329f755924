"""From logs and spans to the comparison: legs on one clock, the power to compare at, the curve."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from groundside.reports.compare.marked_runs import Span
from groundside.reports.compare.trial_log import ReadLog
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
"""With a longer pause it is another outing: other water, wind and charge. Common practice, no
source."""

PAUSE_S = 60.0
"""Between logs whose clocks tell nothing, in the order in which they were given."""


@dataclass(frozen=True)
class Trial:
    """A comparison with what was found on the way.

    Parameters
    ----------
    comparison
        The ranking.
    cautions
        All of them.
    passed_over
        Spans in which no run was found.
    """

    comparison: Comparison
    cautions: tuple[Caution, ...]
    passed_over: tuple[Remark, ...]


def run_trial(logs: list[tuple[ReadLog, list[Span]]], sensors: Sensors) -> Trial:
    """Compare the set-ups of some logs.

    Parameters
    ----------
    logs
        Each with where runs are to be looked for.
    sensors
        How well the instruments are known.

    Raises
    ------
    UsageError
        If there is nothing to compare.
    """
    legs, passed_over = _legs(logs)
    setups = sorted({one.setup for one in legs})
    if len(setups) < 2:
        raise UsageError(_too_few_setups(setups, passed_over))
    # A way out at another power is no part of the trial: it has no way back at the same.
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


def _legs(logs: list[tuple[ReadLog, list[Span]]]) -> tuple[list[Leg], list[Remark]]:
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


def _clock(logs: list[ReadLog]) -> list[tuple[int, float]]:
    """Return each log's outing, and what to add to its stream time for the outing's clock [s]."""
    begins, order = [one.begins_s for one in logs], list(range(len(logs)))
    if None not in begins:
        order.sort(key=lambda n: begins[n] or 0.0)
    placed = _placed(logs, begins, order)
    if placed is None:
        # One craft cannot be on two rides at once: the clocks were wrong.
        placed = _placed(logs, [None] * len(logs), range(len(logs))) or {}
    return [placed[n] for n in range(len(logs))]


def _placed(
    logs: list[ReadLog], begins: Sequence[float | None], order: Iterable[int]
) -> dict[int, tuple[int, float]] | None:
    """Return the same for logs in an order; None where one begins before the one before ended."""
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


def _steady_of(logs: list[tuple[ReadLog, list[Span]]]) -> dict[str, list[SteadyBlock]]:
    """Return the steady stretches of each set-up: those within its spans."""
    found: dict[str, list[SteadyBlock]] = {}
    for log, spans in logs:
        only = {span.setup for span in spans}
        for block in log.steady:
            inside = {span.setup for span in spans if span.start_s < block.t_s <= span.end_s}
            for setup in inside or (only if len(only) == 1 else set()):
                found.setdefault(setup, []).append(block)
    return found
