"""The coach on the page of the runs view: the step at arm's length, then the standing."""

from groundside.dashboard.content.coach import CoachContent, PlaceLine
from groundside.dashboard.drawing.block_font import GLYPHS, draw, fitting
from groundside.dashboard.drawing.painted import Line, shortened, wrapped
from groundside.dashboard.widgets.power_cue_line import power_cue_line

ALL_FIT_ROWS = 24
"""Height from which letters and the whole standing fit."""
TABLE_LEAST = 4
"""Rows of the standing that a step at rest leaves at least: heads and three set-ups."""
SIDE_ROWS = 9
"""Height of letters from which word and number stand side by side."""
AT_REST_ROWS = 9
"""Largest letters of a step at rest."""
SIGNS = {"on": "■", "drop": "×", "": " "}
LOOK_OUT = "look out"


def coach_lines(content: CoachContent, size: tuple[int, int]) -> list[Line]:
    """Fill the rows from the top; what is left of them goes to the standing.

    Parameters
    ----------
    content
        The content of the runs view during a trial.
    size
        Columns and rows available.
    """
    width, height = size
    aside = "STALE" if content.stale else "" if content.at_rest else LOOK_OUT
    room = width - len(aside) - 3
    lines: list[Line] = [
        [
            (f" {shortened(content.head, room)}".ljust(room + 1), "runs--head"),
            (f" {aside} ", "runs--text"),
        ]
    ]
    sentence = _sentence(content, width)
    cue = [] if content.at_rest else [power_cue_line(content.power_cue, width)]
    # The letters get what sentence, cue and the standing leave: little of it under way on a phone.
    table = len(content.lines) + 1
    if height < ALL_FIT_ROWS:
        table = min(TABLE_LEAST, table) if content.at_rest else 0
    elif not content.at_rest:
        table += 1 + len(content.notes)
    lines += _large(content, width, height - len(lines) - len(sentence) - len(cue) - table)
    lines += sentence
    lines += cue
    lines += _rest(content, width, height - len(lines))
    return lines


def _sentence(content: CoachContent, width: int) -> list[Line]:
    return [
        [(f" {line}".ljust(width), "runs--cue")] for line in wrapped(content.sentence, width - 2)
    ]


def _large(content: CoachContent, width: int, rows: int) -> list[Line]:
    """Draw the word and the number of the step as large as they fit, the number first."""
    word, number = content.word, content.number
    word = word if set(word) <= GLYPHS.keys() else ""
    number = number if set(number) <= GLYPHS.keys() else ""
    stale = content.stale
    together = f"{word} {number}"
    if word and number:
        side = fitting(together, width - 3 - len(content.unit), rows)
        if side is not None and side.rows >= SIDE_ROWS:
            return _drawn(together, content.unit, width, rows, stale=stale)
    # The number changes, so it gets more than half; at rest there is the standing to read.
    word_rows = min(rows // 2 if number else rows, AT_REST_ROWS if content.at_rest else rows)
    lines = _drawn(word, "", width, word_rows, stale=stale) if word else []
    if number:
        lines += _drawn(number, content.unit, width, rows - len(lines), stale=stale)
    return lines


def _drawn(text: str, unit: str, width: int, rows: int, *, stale: bool) -> list[Line]:
    """Draw a text as large as it fits, with its unit behind; nothing if it does not fit."""
    size = fitting(text, width - 2 - (len(unit) + 1 if unit else 0), rows)
    if size is None:
        return []
    drawn = draw(text, size, hatched=stale)
    style = "runs--stale" if stale else "runs--figure"
    return [
        [(f" {row}", style), (f" {unit}" if n == 0 and unit else "", "runs--head")]
        for n, row in enumerate(drawn)
    ]


def _rest(content: CoachContent, width: int, rows: int) -> list[Line]:
    """Write what is ahead, the standing and the notes, in the order of their use."""
    if rows < 1:
        return []
    table = _table(content, width)
    ahead = _quiet(content.ahead, width) if content.ahead else []
    notes: list[Line] = []
    for note in content.notes:
        notes += _quiet(note, width)
    if rows < 3:
        return [[(f" {shortened(content.ahead, width - 2)}", "runs--text")]][:rows]
    if len(table) + len(ahead) > rows:
        # No room for all: what is next stands in the step, so the standing goes first.
        return table[:rows]
    return (table + ahead + notes)[:rows]


def _quiet(text: str, width: int) -> list[Line]:
    return [[(f" {line}", "runs--text")] for line in wrapped(text, width - 2)]


def _table(content: CoachContent, width: int) -> list[Line]:
    """Write the standing: place, set-up, how far behind, chance to be best, runs."""
    if not content.lines:
        return []
    heads = PlaceLine("", "set-up", "behind", "Wh/km", "best?", content.runs_name)
    rows = (heads, *content.lines)
    wide = [max(len(getattr(row, name)) for row in rows) for name in _COLUMNS]
    fixed = sum(wide) - wide[1] + 2 + len(_COLUMNS)
    with_interval = width >= fixed + min(wide[1], 8)
    if not with_interval:
        fixed -= wide[3] + 1
    wide[1] = max(2, min(wide[1], width - fixed))
    lines: list[Line] = []
    for number, row in enumerate(rows):
        sign = SIGNS["on" if row.on else "drop" if row.drop else ""]
        cells = [
            shortened(getattr(row, name), wide[n]).ljust(wide[n])
            if name in ("setup", "within")
            else getattr(row, name).rjust(wide[n])
            for n, name in enumerate(_COLUMNS)
            if with_interval or name != "within"
        ]
        style = "runs--quiet" if number == 0 or row.drop else "runs--text"
        lines.append([(shortened(f"{sign} {' '.join(cells)}", width), style)])
    return lines


_COLUMNS = ("place", "setup", "behind", "within", "chance", "runs")
