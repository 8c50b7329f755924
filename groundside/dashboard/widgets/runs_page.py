"""The page of the runs view: the open run in big type, or the next step, and the runs so far."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.coach import CoachContent
from groundside.dashboard.content.runs import (
    FULL_SIGN,
    LONG,
    RULE,
    RULE_MORE,
    SHORT_SIGN,
    OpenRun,
    RunsContent,
)
from groundside.dashboard.drawing.block_font import draw, fitting
from groundside.dashboard.drawing.painted import Line, Painted, shortened, wrapped
from groundside.dashboard.widgets.coach_lines import coach_lines
from groundside.dashboard.widgets.power_cue_line import power_cue_line
from groundside.dashboard.widgets.run_table import table_lines
from onboard.dataclass import dataclass

TEMPLATE = "888"
NOTES_COLUMNS = 17
SPACED_FROM_COLUMNS = 100
"""Width from which a blank line parts the runs, if there is room."""


@dataclass(frozen=True)
class RunsPageContent:
    """The content of the page.

    Parameters
    ----------
    content
        The content of the runs view.
    ask
        A question to the rider, or a hint after the last key; else empty.
    choices
        Set-ups to choose from, each with its description; empty while none is being chosen.
    chosen
        Index of the selected one.
    coach
        What the coach says, in place of the runs; None without.
    figure
        The number that the buttons change, and its unit; empty for none.
    """

    content: RunsContent
    ask: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    chosen: int = 0
    coach: CoachContent | None = None
    figure: tuple[str, str] = ("", "")


class RunsPage(Painted):
    """Shows a `RunsPageContent`."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "runs--text",
        "runs--figure",
        "runs--stale",
        "runs--quiet",
        "runs--head",
        "runs--done",
        "runs--rest",
        "runs--cue",
        "runs--ask",
        "runs--chosen",
    }

    def paint(self, size: Size) -> list[Line]:
        """Fill the rows from the top; the table of runs takes the rest."""
        width, height = size.width, size.height
        picture: RunsPageContent = self.content
        content = picture.content
        asked = _texts(picture.ask, width, "runs--ask") if picture.ask else []
        if picture.figure[0]:
            return asked + _asked_figure(*picture.figure, (width, height - len(asked)))
        if picture.coach is not None and not picture.choices:
            return asked + coach_lines(picture.coach, (width, height - len(asked)))
        lines = [_head(content, width), *asked]
        if picture.choices:
            return lines + _choices(picture, width, height - len(lines))
        if content.open is not None:
            # the digits get the rows left by bar, power and a run or two
            lines += _open_run(content.open, content.stale, width, max(1, height - len(lines) - 6))
            lines.append(power_cue_line(content.power_cue, width))
            if content.missing:
                lines += _texts(f"! {content.missing}", width, "runs--head")
        else:
            lines += _texts(content.steady, width, "runs--text")
            if content.power_cue.target:
                lines.append(power_cue_line(content.power_cue, width))
            lines += _texts(content.why_no_runs or content.next, width, "runs--text")
        lines += _rules(picture, width, height - len(lines))
        if height - len(lines) > 6:
            lines.append([])
        room = height - len(lines)
        return lines + _spaced(table_lines(content, (width, room)), width, room)


def _spaced(table: list[Line], width: int, room: int) -> list[Line]:
    """Return the table, on a wide page with blank lines between the runs if there is room."""
    if width < SPACED_FROM_COLUMNS or 2 * len(table) > room:
        return table
    return [line for row in table for line in (row, [])]


def _texts(text: str, width: int, style: str) -> list[Line]:
    return [[(f" {line}".ljust(width), style)] for line in wrapped(text, width - 2)]


def _asked_figure(number: str, unit: str, room: tuple[int, int]) -> list[Line]:
    """Draw the number that the buttons change, big if there is room, with its unit beside it."""
    width, height = room
    letters = fitting(number, width - len(unit) - 4, height - 1)
    if letters is None:
        return [[(f" {number} {unit}", "runs--figure")]][:height]
    above = min(2, (height - letters.rows) // 2)
    lines: list[Line] = [[] for _ in range(above)]
    lines += [[(f"  {row} ", "runs--figure")] for row in draw(number, letters)]
    lines[-1].append((f" {unit}", "runs--figure"))
    return lines


def _head(content: RunsContent, width: int) -> Line:
    """Write the set-up in force, and on the right the open run."""
    state = "no run open"
    if content.open is not None:
        other = (
            f" ({content.open.setup})"
            if content.setup and content.open.setup != content.setup
            else ""
        )
        state = f"run {content.open.number}{other} OPEN"
    if content.stale:
        state += " STALE"
    room = width - len(state) - 3
    name = shortened(f"set-up {content.setup}" if content.setup else "no set-up label", room)
    return [(f" {name}".ljust(room + 1), "runs--head"), (f" {state} ", "runs--text")]


def _open_run(run: OpenRun, stale: bool, width: int, rows: int) -> list[Line]:
    """Draw the settled seconds with notes beside them, and the progress bar below."""
    letters = fitting(TEMPLATE, width - NOTES_COLUMNS - 3, rows)
    if letters is None or letters.width(run.steady) > width - NOTES_COLUMNS - 3:
        letters = fitting(run.steady, width - 2, rows)
    head = [("s settled", "runs--head"), (f"of {run.seconds} s", "runs--text")]
    style = "runs--stale" if stale else "runs--figure"
    if letters is None:
        text = f" {run.steady} s settled of {run.seconds} s"
        lines: list[Line] = [[(text, style)]]
    else:
        digits = draw(run.steady, letters, hatched=stale)
        start = max(letters.width(TEMPLATE), letters.width(run.steady)) + 2
        notes = head + [(text, "runs--quiet") for text in wrapped(run.why, width - start - 1)]
        lines = [
            [(f" {row}".ljust(start + 1), style), *notes[y : y + 1]] for y, row in enumerate(digits)
        ]
    return [*lines, _bar(run, width)]


def _bar(run: OpenRun, width: int) -> Line:
    """Draw the progress bar: full, and ending in words, once the run is long enough."""
    if run.long_enough:
        text = f" {LONG.upper()} "
        return [(f" {text.center(width - 2, FULL_SIGN)} ", "runs--done")]
    room = width - len(run.more) - 3
    filled = int(run.fraction * room)
    return [
        (f" {FULL_SIGN * filled}", "runs--done"),
        (SHORT_SIGN * (room - filled), "runs--rest"),
        (f" {run.more}", "runs--text"),
    ]


def _rules(picture: RunsPageContent, width: int, room: int) -> list[Line]:
    """Write the rules for a fair run, if the runs so far leave room."""
    content = picture.content
    need = min(len(content.lines), 8) + 4
    lines: list[Line] = []
    for rule in (RULE, RULE_MORE):
        shown_above = not content.why_no_runs and content.open is None and rule == content.next
        more = _texts(rule, width, "runs--quiet")
        if not shown_above and len(lines) + len(more) + need <= room:
            lines += more
    return lines


def _choices(picture: RunsPageContent, width: int, room: int) -> list[Line]:
    """List the set-ups; the selected one is marked and always visible."""
    lines: list[Line] = []
    first = max(0, min(picture.chosen - room // 2, len(picture.choices) - room))
    widest = max(len(name) for name, _ in picture.choices)
    column = min(widest, max(4, width - 22))
    for place, (name, what) in list(enumerate(picture.choices))[first : first + room]:
        chosen = place == picture.chosen
        text = f" {'>' if chosen else ' '} {shortened(name, column).ljust(column)}  {what}"
        style = "runs--chosen" if chosen else "runs--text"
        lines.append([(shortened(text, width).ljust(width), style)])
    return lines
