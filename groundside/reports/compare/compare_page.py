"""A comparison as a self-contained HTML page: tables, sentences and pictures."""

import itertools
from collections.abc import Iterator, Sequence

from groundside.reports.compare.compare_plots import drawings
from groundside.reports.compare.compare_tables import cruise_table, ranking_table, runs_table
from groundside.reports.compare.evidence_text import runs_word
from groundside.reports.compare.findings import Findings
from groundside.reports.compare.left_out_text import caution_line, left_out_lines
from groundside.reports.compare.next_text import next_text
from groundside.reports.compare.pair_text import pair_sentence, ranked_pairs
from groundside.reports.drawing import svg_elements
from groundside.reports.html_parts import escaped, page_head, pictures_section, table_section
from groundside.words.units import Units

INTERVALS = "In brackets: the ends of the 95 % interval."


def compare_page(findings: Findings, units: Units) -> str:
    """Return the page.

    Parameters
    ----------
    findings
        What was found.
    units
        The rider's units.
    """
    found = findings.trial.comparison
    title = f"{len(found.setups)} set-ups at {found.power_w:.0f} W"
    parts = ["<main>", f"<h1>{escaped(title)}</h1>", f"<p>{escaped(_about(findings))}</p>"]
    parts += table_section(ranking_table(found, units))
    cautions = [caution_line(findings, one, units) for one in findings.trial.cautions]
    parts += _sentences("cautions", cautions)
    parts.append(f"<p>{escaped(next_text(found, findings.trial.cautions))}</p>")
    parts += pictures_section(svg_elements(drawings(found, units), itertools.count(1)))
    if findings.cruise is not None:
        parts += table_section(cruise_table(findings.cruise, units))
    left_out = list(left_out_lines(findings, units, details=True))
    parts += _sentences("runs that do not count", left_out)
    pairs = [pair_sentence(one, units, runs_word(found)) for one in ranked_pairs(found)]
    parts += _sentences("pair by pair", pairs)
    parts += table_section(runs_table(findings, units))
    parts += ["<footer>", f"<p>{escaped(INTERVALS)}</p>", "</footer>", "</main>"]
    return "\n".join([*page_head(f"{title} - compare"), *filter(None, parts), "</html>", ""])


def _about(findings: Findings) -> str:
    """Return the logs and when the first run was."""
    legs = findings.trial.comparison.evidence.legs
    logs = ", ".join(dict.fromkeys(findings.times.of(one).log for one in legs))
    utc = findings.times.of(legs[0]).utc
    return logs if utc is None else f"{logs}, {utc:%Y-%m-%d %H:%M} UTC"


def _sentences(title: str, sentences: Sequence[str]) -> Iterator[str]:
    if not sentences:
        return
    yield f"<section><h2>{escaped(title)}</h2><ul>"
    yield from (f"<li>{escaped(one)}</li>" for one in sentences)
    yield "</ul></section>"
