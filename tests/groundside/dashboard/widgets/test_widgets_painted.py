"""The lines that widgets paint into the rows available, without a screen."""

import re
from typing import Any

import pytest
from textual.geometry import Size

from groundside.dashboard.content.frame import AgeContent
from groundside.dashboard.content.home import home_content
from groundside.dashboard.content.ride import BigFigureContent, CueContent, ride_content
from groundside.dashboard.drawing.painted import Line, Painted
from groundside.dashboard.drawing.plot_content import PlotContent, Trace
from groundside.dashboard.notices import Notice
from groundside.dashboard.widgets.age_line import AgeLine
from groundside.dashboard.widgets.big_figure import BigFigure
from groundside.dashboard.widgets.cue_bar import CueBar
from groundside.dashboard.widgets.figure_table import FigureTable
from groundside.dashboard.widgets.notice_bar import NoticeBar
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.way_page import WayPage
from groundside.words.alerts import alert_text
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import holds_drawn, snapshot, state
from tests.made_snapshot import HOME, changed

SIZES = [(40, 6), (80, 6), (120, 9)]


def painted(widget: Painted, shown: Any, size: tuple[int, int]) -> list[Line]:
    widget.set_reactive(Painted.content, shown)
    lines = widget.paint(Size(*size))
    assert len(lines) <= size[1]
    assert all(sum(len(text) for text, _ in line) <= size[0] for line in lines)
    return lines


def texts(lines: list[Line]) -> list[str]:
    return ["".join(text for text, _ in line) for line in lines]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("word", ["ease", "hold", "push", "turn"])
def test_a_cue_has_its_place_and_shape(size: tuple[int, int], word: str) -> None:
    rows = texts(painted(CueBar(), CueContent(word, ("9 % over", "hold 300 W")), size))
    assert holds_drawn(rows, word.upper())
    drawn, text = [row for row in rows[:-1] if row.strip()], rows[-1]
    assert "9 % over" in text
    if word == "ease":
        widths = [len(row[: 2 + 2 * len(drawn)].split("  ")[1]) for row in drawn[:3]]
        assert widths == sorted(widths, reverse=True)
        assert drawn[0][2] == "█"
        assert text.startswith("  9 %")
    elif word == "push":
        widths = [len(row.rstrip()) for row in drawn[:3]]
        assert widths == sorted(widths)
        assert max(row.rstrip()[-1] for row in drawn) == "█"
        assert text.endswith("300 W  ")
    elif word == "hold":
        assert sum(row.strip()[:2] == "██" == row.strip()[-2:] for row in drawn) >= 2
    else:
        ends = [(row.strip()[:3], row.strip()[-3:]) for row in drawn]
        assert ("███", "███") in ends[1:-1]
        assert ends[0] != ("███", "███") != ends[-1]


@pytest.mark.parametrize(
    ("word", "sign"), [("ease", "vv"), ("hold", "=="), ("push", "^^"), ("turn", "!!")]
)
def test_a_cue_in_one_row_has_its_sign(word: str, sign: str) -> None:
    (row,) = texts(painted(CueBar(), CueContent(word, ("9 % over",)), (40, 1)))
    assert row.strip() == f"{sign} {word.upper()} {sign}  9 % over"


def test_a_cue_with_words_only() -> None:
    rows = texts(painted(CueBar(), CueContent("", ("no cue: the data are stale",)), (40, 3)))
    assert [row.strip() for row in rows] == ["", "no cue: the data are stale", ""]


@pytest.mark.parametrize("above", [False, True])
@pytest.mark.parametrize("size", [(40, 5), (60, 7), (60, 10)])
def test_an_unknown_figure_is_dashes_with_the_reason(size: tuple[int, int], above: bool) -> None:
    widget = BigFigure()
    widget.label_above = above
    content = BigFigureContent(None, "Wh/km", "last 20 s", why="no power for 6 s")
    lines = painted(widget, content, size)
    assert holds_drawn(texts(lines), "--")
    assert "no power for" in " ".join(texts(lines))
    assert ("figure--unknown") in {style for line in lines for _, style in line}
    (short,) = texts(painted(widget, content, (40, 1)))
    assert short.strip() == "last 20 s -- Wh/km no power for 6 s"


@pytest.mark.parametrize(
    ("stale", "style", "drawn"), [(False, "figure--digits", "█"), (True, "figure--stale", "▒")]
)
def test_an_old_figure_is_hatched(stale: bool, style: str, drawn: str) -> None:
    content = BigFigureContent("51", "Wh/km", "last 20 s", "48 to 54", stale=stale)
    lines = painted(BigFigure(), content, (40, 7))
    assert lines[1][0][1] == style
    assert drawn in texts(lines)[1]
    assert "48 to 54" in " ".join(texts(lines))
    (short,) = texts(painted(BigFigure(), content, (40, 1)))
    assert short.strip() == "last 20 s 51 Wh/km 48 to 54"


@pytest.mark.parametrize("digits", ["0.42", "9.4", "16.4", "142"])
def test_big_figures_keep_one_size_whatever_they_show(digits: str) -> None:
    rows = texts(painted(BigFigure(), BigFigureContent(digits, "km", "range"), (40, 5)))
    assert sum("█" in row or "▀" in row for row in rows) == 5
    assert holds_drawn(rows, digits)


def test_small_figures_differ_in_style_when_old_or_unknown() -> None:
    table = FigureTable()
    for since_s, style in ((0.0, "table--value"), (3.0, "table--stale")):
        content = ride_content(state(since_received_s=since_s))
        line = painted(table, (content.figures, content.stale), (40, 1))[0]
        assert [style for text, style in line if "412 W" in text] == [style]
    content = ride_content(state(snapshot(power_w=Unknown(Reason.NO_CURRENT))))
    line = painted(table, (content.figures, content.stale), (40, 1))[0]
    assert line[1][0].strip() == "--"
    assert line[1][1] == "table--unknown"
    wide = painted(table, (content.figures, content.stale), (80, 1))[0]
    assert wide[1][0].startswith("-- the power monitor")


def test_the_age_line_distinguishes_old_from_fresh() -> None:
    for stale, style in ((False, "age--fresh"), (True, "age--stale")):
        ((piece,),) = painted(AgeLine(), AgeContent(("data 3 s old", "31 msg/s"), stale), (40, 1))
        assert piece == (" data 3 s old  31 msg/s ", style)


def test_a_plot_is_drawn_or_has_its_reason() -> None:
    drawn = painted(Plot(), PlotContent(trace=Trace((0.0, 1.0), (0.2, 0.8))), (40, 8))
    assert any("└" in row for row in texts(drawn))
    text = painted(Plot(), PlotContent(why="nothing to draw yet"), (40, 8))
    assert "nothing to draw yet" in " ".join(texts(text))
    assert not any("└" in row for row in texts(text))


@pytest.mark.parametrize("size", [(40, 9), (80, 9), (120, 12)])
def test_the_way_page_has_the_answer_and_a_caution(size: tuple[int, int]) -> None:
    content = home_content(state(snapshot(home=HOME)))
    text = " ".join(" ".join(texts(painted(WayPage(), (content, ""), size))).split())
    assert "ENOUGH" in text
    assert "stimate" in text
    asked = " ".join(texts(painted(WayPage(), (content, "sure about it?"), size)))
    assert "sure about it?" in asked
    assert "ENOUGH" not in asked
    turn = home_content(state(snapshot(home=changed(HOME, turn_back=True))))
    text = " ".join(texts(painted(WayPage(), (turn, ""), size)))
    assert "TURN BACK" not in text  # the cue above shows it
    assert "Turn right" in text


DANGER = Notice("danger", "Battery low, 9 % left above the reserve: turn back now")
HOT = Notice("warning", "Motor hot: ease off")


@pytest.mark.parametrize("size", [(40, 22), (80, 24), (120, 40)])
def test_a_danger_is_shown_in_full(size: tuple[int, int]) -> None:
    found = (DANGER, HOT, Notice("quiet", "left: none"))
    rows = NoticeBar.rows_needed(found, Size(*size))
    lines = painted(NoticeBar(), found, (size[0], rows))
    text = " ".join(" ".join(texts(lines)).split())
    assert text.startswith(f"!! {DANGER.text}")
    assert "+2" in text or "! Motor hot: ease off" in text
    assert lines[0][0][1] == "notice--danger"


VALUES: dict[str, Any] = {
    **{"volts_v": 40.0, "cell": 3, "cell_v": 3.01, "apart_v": 0.21, "source": "battery 1"},
    **{"temperature_degc": 95.0, "left_wh": 112.0, "best_m": 3704.0, "best_speed_mps": 2.0},
    "to_go_m": 9000.0,
    **{"more_fraction": 0.31, "off_fraction": 0.12, "sources": ("battery 1",)},
    **{"since_utc_s": 1.7e9, "age_s": 360.0, "bytes": 123456, "faults": 3, "name": "of tomorrow"},
    **{"link": "/dev/ttyAMA0", "problem": "", "errno": 5, "path": "/var/ride", "before": "/a"},
    **{"parts": ("battery", "home"), "unsigned": 3, "wrong": 2, "repeated": 1},
}


@pytest.mark.parametrize("code", AlertCode)
@pytest.mark.parametrize("size", [(40, 22), (80, 24), (120, 40)])
def test_no_alert_is_cut_before_its_advice(size: tuple[int, int], code: AlertCode) -> None:
    # 'Nothing over the link for 360 s: s.. +2' once left out what to do.
    gaps = re.findall(r"{(\w+)}", code.sentence)
    alert = Alert(code, 3.0, **{name: VALUES[name] for name in gaps})
    notice = Notice(alert.level, alert_text(alert, CHOICES["km/h"]))
    found = (notice, *(Notice("note", "another") for _ in range(2)))
    rows = max(NoticeBar.rows_needed(found, Size(*size)), 3 if alert.level == "note" else 1)
    lines = [line.strip() for line in texts(painted(NoticeBar(), found, (size[0], rows)))]
    shown = " ".join(" ".join(lines).replace("+2", "").split())
    assert shown.startswith(notice.signed)
    assert "another" in shown or any(line.endswith(" +2") for line in lines)


@pytest.mark.parametrize(
    "words", ["a" * 38, "a" * 37, "a" * 34, " ".join(["a" * 17, *["a" * 18] * 3])]
)
def test_the_count_of_the_others_takes_no_letter_of_a_notice(words: str) -> None:
    found = (Notice("warning", words), HOT, HOT)
    for rows in (2, 3):
        lines = texts(painted(NoticeBar(), found, (40, rows)))
        shown = "".join("".join(lines).replace(" +2", "").split())
        assert shown.startswith("!" + words.replace(" ", ""))
