"""A comparison as text: one screen, or all of its evidence with `--details`."""

from collections.abc import Iterator

from groundside.reports.compare.cruise_text import cruise_lines
from groundside.reports.compare.evidence_text import evidence_lines, runs_word
from groundside.reports.compare.findings import Findings
from groundside.reports.compare.left_out_text import caution_line, left_out_lines
from groundside.reports.compare.next_text import next_text
from groundside.reports.compare.pair_text import pair_sentence, ranked_pairs
from groundside.reports.compare.ranking_text import range_sentences, ranking_lines
from groundside.reports.compare.split_text import split_lines
from groundside.reports.text_layout import hanging
from groundside.words.units import Units


def as_lines(findings: Findings, units: Units, *, details: bool = False) -> Iterator[str]:
    """Yield the lines of a comparison.

    Parameters
    ----------
    findings
        What was found.
    units
        The rider's units.
    details
        Whether to add every pair, causes, weights and degrees of freedom.
    """
    trial = findings.trial
    found = trial.comparison
    yield from ranking_lines(found, units)
    yield ""
    for sentence in range_sentences(found, units):
        yield from hanging(sentence)
    if trial.cautions:
        yield ""
    for caution in trial.cautions:
        yield from hanging(caution_line(findings, caution, units))
    for sentence in left_out_lines(findings, units, details=details):
        yield from hanging(sentence)
    yield ""
    yield from hanging(next_text(found, trial.cautions))
    if findings.cruise is not None:
        yield ""
        yield from cruise_lines(findings.cruise, units)
    if details:
        yield from _details(findings, units)


def _details(findings: Findings, units: Units) -> Iterator[str]:
    found = findings.trial.comparison
    yield ""
    for pair in ranked_pairs(found):
        yield from hanging(pair_sentence(pair, units, runs_word(found)))
    if findings.splits:
        yield ""
        sure = {(one.a, one.b) for one in found.pairs if one.verdict != "cannot_tell"}
        yield from split_lines(findings.splits, findings.pairs, sure)
    yield ""
    yield from evidence_lines(found, units)
