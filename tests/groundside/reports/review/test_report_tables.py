"""Reviews as text: tables on terminals of any width, plain lines elsewhere."""

import os
import pty
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from groundside.reports.report_table import Cell, ReportTable, TableColumn
from groundside.reports.review.review_output import as_lines, as_tables, review_json
from groundside.reports.review.rich_tables import print_tables
from groundside.studies.review_result import LogEvent
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.reports.review.rides import LOGS, SKIFF, season_outcomes, skiff_outcome
from tests.patience import PATIENCE_S

ROOT = LOGS.parent
ESCAPE = re.compile(r"\x1b\[([0-9;]*)m")


def printed(
    capsys: pytest.CaptureFixture[str], sections: list[ReportTable], width: int
) -> list[str]:
    print_tables(sections, width)
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("units", ["km/h", "m/s", "kn", "mph"])
def test_tables_fit_and_keep_the_main_figures_at_any_width(
    width: int, units: str, capsys: pytest.CaptureFixture[str]
) -> None:
    for reviewed in ([skiff_outcome()], season_outcomes()):
        lines = printed(capsys, as_tables(reviewed, units), width)
        assert max(map(len, lines)) <= width
        text = " ".join(" ".join(lines).split())
        assert {"kn": "Wh/NM", "mph": "Wh/mi"}.get(units, "Wh/km") in text
        assert "…" not in text  # nothing is cut off
    if units == "km/h":
        lines = printed(capsys, as_tables([skiff_outcome()], units), width)
        text = " ".join(" ".join(lines).split())
        for piece in ("52.3 Wh/km (50.2 to 54.5)", "815 Wh (742 to 889)", "water not known"):
            assert piece in text
        assert ("mean W" in text) == (width >= 60)


def test_several_logs_have_a_row_each_and_totals(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = printed(capsys, as_tables(season_outcomes(), None), 120)
    rows = {line.split()[0]: line for line in lines if line.strip()}
    assert "49.9 (47.8 to 51.9)" in rows["board_sprints.tlog"]
    assert "unknown" in rows["at_anchor.tlog"]
    assert "2025-06-14 09:30 UTC" in rows["harbour_loop.tlog"]
    # (1.2956 + 37.960 + 73.605) Wh over (0 + 760.98 + 1406.36) m, by the logs' own reviews.
    assert "52.1 (49.9 to 54.3)" in rows["all"]
    assert "1 log could not be read: not counted" in lines
    assert any(line.startswith("board_sprints.tlog: Another craft") for line in lines)
    assert "README.md" not in " ".join(lines)


def test_equal_names_are_made_unique_and_a_repeated_log_is_noted() -> None:
    skiff = skiff_outcome()
    twins = [replace(skiff, path=Path("may/a.tlog")), replace(skiff, path=Path("june/a.tlog"))]
    (section,) = as_tables(twins, None)
    assert [row[0].text for row in section.rows] == ["may/a.tlog", "june/a.tlog"]
    assert section.total is not None
    assert section.total[0].text == "all 1"
    assert "june/a.tlog is a ride that was given before: it counts once" in section.notes


def test_two_recordings_of_one_ride_are_noted() -> None:
    def notes(start_utc: str | Unknown) -> str:
        skiff = skiff_outcome()
        assert skiff.result is not None
        log = replace(skiff.result.log, start_utc=start_utc)
        other = replace(skiff, path=Path("b.bin"), result=replace(skiff.result, log=log))
        (section,) = as_tables([other, skiff], None)
        assert section.total is not None
        assert section.total[0].text == "all 2"
        return " ".join(section.notes)

    note = "harbour_loop.tlog and b.bin are of the same time"
    assert note in notes("2025-06-14T09:31:00.0Z")
    assert "are of the same time" in notes("2025-06-14T09:29:00.0Z")
    # The skiff's ride took 12 minutes: 11 minutes later the two hardly overlap.
    assert "same time" not in notes("2025-06-14T09:41:00.0Z")
    assert "same time" not in notes("2025-06-14T08:00:00.0Z")
    assert "same time" not in notes(Unknown(Reason.NO_DATE))


def test_a_hostile_name_is_neither_markup_nor_an_escape_sequence(
    capsys: pytest.CaptureFixture[str],
) -> None:
    bad = replace(skiff_outcome(), path=Path("[red]a\x1b[31m\nb.tlog"))
    lines = printed(capsys, as_tables([bad, *season_outcomes()[:2]], None), 120)
    plain = list(as_lines([bad, *season_outcomes()[:2]], None))
    for text in ("\n".join(lines), "\n".join(plain)):
        assert "\x1b" not in text
        assert "[red]a [31m b.tlog" in text


def test_events_are_in_the_reader_s_units_and_in_json_in_km() -> None:
    skiff = skiff_outcome()
    assert skiff.result is not None
    alert = Alert(AlertCode.CANNOT_BE_MADE, to_go_m=18_520.0, best_m=22_224.0, best_speed_mps=2.0)
    event = LogEvent(75.0, alert)
    changed = replace(skiff, result=replace(skiff.result, events=(event,)))
    knots, km = (
        f"Target, {to_go} to go: in doubt at any speed tried. {best}."
        for to_go, best in (
            ("10.0 NM", "12.0 NM is sure, at 3.9 kn"),
            ("18.5 km", "22.2 km is sure, at 7.2 km/h"),
        )
    )
    assert next(as_lines([changed], "kn")) == knots
    assert next(as_lines([changed], None)) == km
    events = as_tables([changed], "kn")[0]
    assert [cell.text for cell in events.rows[0]] == ["00:01:15", knots]
    # Alerts are listed in a ride's own review, not under the table of several rides.
    assert knots not in as_tables([changed, skiff], "kn")[0].notes
    assert review_json(changed.result)["events"] == [
        {
            "t_s": 75.0,
            "code": "cannot_be_made",
            "to_go_m": 18_520.0,
            "best_m": 22_224.0,
            "best_speed_mps": 2.0,
            "text": km,
        }
    ]


def test_plain_lines_have_no_rules() -> None:
    lines = list(as_lines([skiff_outcome()], None))
    assert lines[0] == "time                       00:12:10"
    assert "  8 to 10   00:01:03  0.15   5.7     325  38.8 (37.1 to 40.6)" in lines
    assert all(line.isascii() for line in lines)
    assert all(line.isascii() for line in as_lines(season_outcomes(), None))


@pytest.mark.parametrize(
    ("units", "step", "decimals"), [("km/h", 1, 0), ("kn", 0.5, 1), ("mph", 1, 0), ("m/s", 0.25, 2)]
)
def test_bands_were_steps_of_0_9_km_h_many_of_one_second(
    units: str, step: float, decimals: int
) -> None:
    skiff = skiff_outcome()
    assert skiff.result is not None
    (table,) = (one for one in as_tables([skiff], units) if one.title == "speed bands")
    for row in table.rows:
        low, high = row[0].text.split(" to ")
        assert {len(end.partition(".")[2]) for end in (low, high)} == {decimals}
        assert float(low) / step == round(float(low) / step)
        assert float(high) / step == round(float(high) / step)
        assert int(row[1].text.split(":")[1]) * 60 + int(row[1].text[-2:]) >= 10
    assert table.notes == ("speeds over ground; bands under 10 s are joined to a neighbour",)
    # The bands that programs read are unchanged.
    bands = review_json(skiff.result)["bands"]
    assert {one["speed_high_mps"] - one["speed_low_mps"] for one in bands} == {0.25}
    energy_wh = sum(one["energy_wh"] for one in bands)
    assert sum(float(row[3].text) for row in table.rows) == pytest.approx(energy_wh, abs=0.5)
    assert "ridden" not in review_json(skiff.result)


def test_columns_depend_only_on_width(capsys: pytest.CaptureFixture[str]) -> None:
    columns = (TableColumn("a", right=False), TableColumn("b", from_width=60), TableColumn("c"))
    row = (Cell("one"), Cell("two"), Cell("3.0", "2.0 to 4.0"))
    section = ReportTable("title", columns, (row,), row, ("a note",))
    wide, narrow = printed(capsys, [section], 60), printed(capsys, [section], 59)
    assert sum("two" in line for line in wide) == 2
    assert sum("two" in line for line in narrow) == 0
    assert sum("3.0 (2.0 to 4.0)" in line for line in wide) == 2
    assert sum("(2.0 to 4.0)" in line for line in narrow) == 2
    assert wide[-1] == narrow[-1] == "a note"


def on_a_terminal(*arguments: str, **variables: str) -> str:
    """Run the command with its output on a terminal of 80 columns."""
    outer, inner = pty.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", **variables}
    run = [sys.executable, "-m", "groundside", "review", *arguments]
    with subprocess.Popen(run, cwd=ROOT, stdout=inner, env=environment) as process:
        os.close(inner)
        read = b""
        while True:
            try:
                part = os.read(outer, 65536)
            except OSError:  # all of it was read, and the other side is closed
                break
            if not part:
                break
            read += part
        assert process.wait(PATIENCE_S) == 0
    os.close(outer)
    return read.decode()


@pytest.mark.slow
def test_a_terminal_gets_rules_and_no_colours() -> None:
    for variables in ({}, {"NO_COLOR": "1"}):
        text = on_a_terminal(str(SKIFF), **variables)
        assert "─" in text
        # Weight, and no colour that could carry a meaning alone.
        assert set(ESCAPE.findall(text)) <= {"1", "0", ""}
    dumb = on_a_terminal(str(SKIFF), TERM="dumb")
    assert "─" not in dumb
    assert "\x1b" not in dumb
