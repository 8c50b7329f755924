"""The runs so far as a table that fits the width: newest first, one row per run."""

from groundside.dashboard.content.runs import (
    FULL_SIGN,
    LONG,
    SHORT,
    SHORT_SIGN,
    RunLine,
    RunsContent,
)
from groundside.dashboard.drawing.painted import Line, piece_width, shortened

WIDE_COLUMNS = 72
"""Width from which a word follows each run; a narrower table has a legend below."""
LEAST_SETUP = 2


def table_lines(content: RunsContent, size: tuple[int, int]) -> list[Line]:
    """Return as many rows of the table as fit.

    Parameters
    ----------
    content
        The content of the runs view.
    size
        Columns and rows available.
    """
    width, height = size
    if height < 2:
        return []
    if not content.lines:
        return [[(" no marked run has ended yet", "runs--quiet")]]
    wide = width >= WIDE_COLUMNS
    legend = not wide and height >= 3
    runs = content.lines[: height - (2 if legend else 1)]
    heads = ("no", "set-up", "s", "W", content.speed_name, "to °" if wide else "to")
    rows = [(r.number, r.setup, r.seconds, r.power, r.speed, r.course) for r in runs]
    widths = [max(len(row[n]) for row in (heads, *rows)) for n in range(len(heads))]
    gap = 2 if wide else 1
    tails, tail_width = _tails(runs, width, widths, gap)
    if not wide:
        others = sum(widths) - widths[1] + 1 + gap * len(widths) + tail_width
        widths[1] = max(LEAST_SETUP, min(widths[1], width - others))
    space = " " * gap
    cost = content.consumption_name.ljust(tail_width)
    lines: list[Line] = [[(f" {space}{_row(heads, widths, space)}{space}{cost}", "runs--quiet")]]
    for run, row, (figure, interval) in zip(runs, rows, tails, strict=True):
        sign = FULL_SIGN if run.long_enough else SHORT_SIGN
        line: Line = [
            (f"{sign}{space}{_row(row, widths, space)}{space}", "runs--text"),
            (figure, "runs--figure"),
            (interval, "runs--quiet"),
        ]
        if wide:
            line.append((space + (LONG if run.long_enough else SHORT), "runs--text"))
        lines.append(line)
    if legend:
        lines.append([(f"{FULL_SIGN} {LONG}   {SHORT_SIGN} {SHORT}", "runs--quiet")])
    return [line if piece_width(line) <= width else _cut(line, width) for line in lines]


def _tails(
    runs: tuple[RunLine, ...], width: int, widths: list[int], gap: int
) -> tuple[list[tuple[str, str]], int]:
    """Return each run's consumption and interval, in short form if the long one does not fit."""
    figures = max(len(run.consumption) for run in runs)
    for long in (True, False):
        intervals = [run.interval if long else run.within for run in runs]
        longest = max(len(interval) for interval in intervals)
        total = figures + 1 + longest
        least = sum(widths) - widths[1] + LEAST_SETUP + 1 + gap * len(widths) + total
        if least <= width:
            break
    return [
        (run.consumption.rjust(figures), f" {interval.ljust(longest)}")
        for run, interval in zip(runs, intervals, strict=True)
    ], total


def _row(cells: tuple[str, ...], widths: list[int], space: str) -> str:
    return space.join(
        shortened(cell, wide).ljust(wide) if n == 1 else cell.rjust(wide)
        for n, (cell, wide) in enumerate(zip(cells, widths, strict=True))
    )


def _cut(line: Line, width: int) -> Line:
    """Cut the end of a line that is too long, removing blanks first."""
    cut: Line = []
    for text, style in line:
        room = width - piece_width(cut)
        cut.append((text if len(text) <= room else text.rstrip()[:room], style))
    return cut
