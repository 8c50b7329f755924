"""The page: self-contained, escaped, equal to the text, and readable without its pictures."""

import subprocess
import sys
from pathlib import Path

import pytest

from groundside.command_line import main
from tests.craft.trial_day import Day, Setup
from tests.groundside.reports.compare.trial_days import compare, text_of, write_day
from tests.groundside.reports.read_page import Read, fetches_nothing
from tests.groundside.reports.run_command import ROOT, WITHOUT_MATPLOTLIB

pytestmark = pytest.mark.slow

Capsys = pytest.CaptureFixture[str]
SIX = ("broad", "slim", "slim", "broad") * 2


def page_of(capsys: Capsys, sheet: Path, *options: object) -> Read:
    page = sheet.parent / "page.html"
    text_of(capsys, sheet, "--html", page, *options)
    return Read(page.read_text())


def test_a_page_of_a_day(tmp_path: Path, capsys: Capsys) -> None:
    day = Day({"broad": Setup(), "slim": Setup(0.06, 1.9)}, SIX, outlier_leg=6)
    sheet = write_day(tmp_path, day)
    read = page_of(capsys, sheet, "--speed-mps", 2.1)
    fetches_nothing(read)
    found = compare(capsys, sheet)
    behind = found["places"][1]["behind_fraction"]
    for text in (
        "2 set-ups at 402 W day.tlog, 2025-06-15 15:07 UTC",
        f"slim 2 {found['setups'][1]['wh_per_km']['value']:.1f}",
        f"{100 * behind['value']:.1f} ({100 * behind['low']:.1f} to",
        "(from 768 s, 15:19 UTC): Runs 7 and 8 (broad) are unlike all others",
        "Next: enough was run. Take broad",
        "At 7.6 km/h: equal power is the fair test, this is what it brings.",
        "broad uses 5.5 % less than slim",
        "8 broad 892 s, 15:21 UTC 100 s 220° 399 W 7.47 no",
        "In brackets: the ends of the 95 % interval.",
    ):
        assert text in read.text
    assert read.tags.count("svg") == 4
    assert all(read.all_of("aria-label"))


def test_hostile_labels_are_escaped(tmp_path: Path, capsys: Capsys) -> None:
    evil = "<img src=x onerror=y>", "$\\frac{a}$ & </svg>"
    day = Day({evil[0]: Setup(), evil[1]: Setup(0.06)}, (*evil, *reversed(evil)))
    sheet = write_day(tmp_path, day)
    sheet.write_text(sheet.read_text().replace("\\", "\\\\"))
    read = page_of(capsys, sheet)
    fetches_nothing(read)
    assert "img" not in read.tags
    assert all(read.text.count(name) >= 3 for name in evil)


def test_the_units_are_the_rider_s(tmp_path: Path, capsys: Capsys) -> None:
    read = page_of(capsys, write_day(tmp_path), "--units", "kn", "--speed-mps", 2.1)
    assert "Wh/NM" in read.text
    assert "km" not in read.text


def test_a_page_is_written_beside_the_text(tmp_path: Path, capsys: Capsys) -> None:
    sheet, page = write_day(tmp_path), tmp_path / "page.html"
    plain = text_of(capsys, sheet)
    assert text_of(capsys, sheet, "--html", page) == plain
    assert page.read_text().startswith("<!DOCTYPE html>")
    assert page.stat().st_mode & 0o777 == 0o600
    assert "cannot be written" in refused_page(capsys, sheet, tmp_path / "none" / "a.html")


def refused_page(capsys: Capsys, sheet: Path, page: Path) -> str:
    assert main(["compare", str(sheet), "--html", str(page)]) == 2
    return capsys.readouterr().err


def test_matplotlib_is_loaded_for_the_page_only(tmp_path: Path) -> None:
    sheet, page = write_day(tmp_path), tmp_path / "page.html"
    plain = (
        "import sys; from groundside.command_line import main; "
        f"main(['compare', {str(sheet)!r}]); sys.exit('matplotlib' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", plain], cwd=ROOT, check=False).returncode == 0
    words = ["compare", str(sheet), "--html", str(page)]
    run = [sys.executable, "-c", f"{WITHOUT_MATPLOTLIB}\nsys.exit(main({words!r}))"]
    done = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "compare: matplotlib is not installed: pip install 'wattwake[plot]'" in done.stderr
    assert not page.exists()
