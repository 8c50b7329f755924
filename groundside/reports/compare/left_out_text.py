"""Cautions, and runs that do not count, each run with its number and its time."""

from collections.abc import Iterator

from groundside.reports.compare.findings import Findings
from groundside.words.reasons import reason_text
from groundside.words.remarks import caution_text, remark_text
from groundside.words.units import Units
from onboard.contract.remarks import Caution, Remark

SHOWN_MOST = 3
"""Runs named on the first screen; `--details` names all."""


def left_out_lines(findings: Findings, units: Units, *, details: bool) -> Iterator[str]:
    """Yield a sentence for each run that does not count; cautions name the outliers."""
    found = list(_sentences(findings, units))
    shown = found if details or len(found) <= SHOWN_MOST else found[: SHOWN_MOST - 1]
    yield from shown
    if len(shown) < len(found):
        yield f"{len(found) - len(shown)} more do not count: --details names them."


def caution_line(findings: Findings, caution: Caution, units: Units) -> str:
    """Return a caution, with the time of the first of the runs that it names."""
    text, numbers = caution_text(caution, units), caution.values.get("run_numbers")
    if not (isinstance(numbers, tuple) and numbers and isinstance(numbers[0], int)):
        return f"Caution: {text}"
    leg = findings.trial.comparison.evidence.legs[numbers[0] - 1]
    return f"Caution ({findings.times.text(findings.times.of(leg))}): {text}"


def _sentences(findings: Findings, units: Units) -> Iterator[str]:
    evidence, times = findings.trial.comparison.evidence, findings.times
    for one in evidence.unpaired:
        leg = evidence.legs[one.leg]
        when = times.text(times.of(leg))
        yield (
            f"Run {one.leg + 1} ({leg.setup}, {when}) stands alone: {reason_text(one.why, units)}."
        )
    for remark in findings.trial.passed_over:
        clock = _clock(findings, remark)
        yield f"Passed over: {remark_text(remark, units)}{clock}."


def _clock(findings: Findings, remark: Remark) -> str:
    log, from_s = remark.values.get("log"), remark.values.get("from_s")
    if not (isinstance(log, str) and isinstance(from_s, float)):
        return ""
    utc = findings.times.at(log, from_s).utc
    return "" if utc is None else f" ({utc:%H:%M} UTC)"
