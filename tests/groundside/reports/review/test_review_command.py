"""Options of `review`, refusals, and the files left after a failure."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.groundside.reports.review.rides import ANCHOR, CRAFT, SKIFF
from tests.groundside.reports.run_command import ROOT, WITHOUT_MATPLOTLIB, run


def review(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    return run(capsys, "review", *arguments)


@pytest.mark.slow
def test_files_are_written_in_addition_to_the_output(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    plain = review(capsys, SKIFF, "--profile", CRAFT)
    files = ["--plot", tmp_path / "a.svg", "--html", tmp_path / "a.html"]
    assert review(capsys, SKIFF, "--profile", CRAFT, *files) == plain
    assert (tmp_path / "a.svg").read_bytes().startswith(b"<?xml")
    assert "demo skiff" in (tmp_path / "a.html").read_text()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "a.svg"]
    # A track shows where somebody lives: no other user may read it.
    assert (tmp_path / "a.html").stat().st_mode & 0o077 == 0


@pytest.mark.slow
def test_a_page_of_the_readable_logs(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "season.html"
    code, out, err = review(capsys, SKIFF, "/no/such", ANCHOR, "--json", "--html", target)
    assert code == 2
    assert err.count("\n") == 1
    assert len(json.loads(out)["reviews"]) == 3
    assert "/no/such: no such file" in target.read_text()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--plot", "{tmp}/a.pdf"), ".png or .svg"),
        (("--plot", "{tmp}/a"), ".png or .svg"),
        ((str(ANCHOR), "--plot", "{tmp}/a.png"), "for several use --html"),
        (("--html", "{tmp}/a.tlog"), "ends in .html"),
        (("--no-track",), "--plot or --html"),
        (("--json", "--csv"), "not allowed with"),
        pytest.param(
            ("--plot", "{tmp}/none/a.png"),
            "cannot be written (No such file or directory)",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            ("--html", "{tmp}/dir.html"),
            "cannot be written (Is a directory)",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_impossible_requests_are_reported_in_one_line(
    options: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "dir.html").mkdir()
    code, _, err = review(capsys, SKIFF, *(one.format(tmp=tmp_path) for one in options))
    assert code == 2
    assert says in err
    assert err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["dir.html"]


def test_a_log_is_not_overwritten_by_mistake(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    log = tmp_path / "ride.tlog"
    log.write_bytes(ANCHOR.read_bytes())
    for option in ("--html", "--plot"):
        assert review(capsys, option, log, SKIFF)[0] == 2
        assert log.read_bytes() == ANCHOR.read_bytes()


@pytest.mark.slow
def test_a_full_disk_leaves_the_old_page(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "a.html"
    target.write_text("old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    code, _, err = review(capsys, ANCHOR, "--html", target)
    assert (code, target.read_text()) == (2, "old")
    assert "No space left on device" in err
    assert [path.name for path in tmp_path.iterdir()] == ["a.html"]


def test_without_a_readable_log_nothing_is_written(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, out, err = review(capsys, "/no/such", "--plot", tmp_path / "a.png")
    assert (code, out) == (2, "")
    assert "no such file" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--plot a.png", "--html a.html"])
def test_without_matplotlib_one_line_names_what_to_install(option: str, tmp_path: Path) -> None:
    name, file = option.split()
    arguments = ["review", str(SKIFF), name, str(tmp_path / file)]
    code = WITHOUT_MATPLOTLIB
    run = [sys.executable, "-c", f"{code}\nsys.exit(main({arguments!r}))"]
    done = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "matplotlib is not installed: pip install 'wattwake[plot]'" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_plain_review_loads_no_matplotlib_and_a_table_alone_loads_rich() -> None:
    code = (
        "import sys; from groundside.command_line import main; "
        f"main(['review', {str(ANCHOR)!r}, {str(SKIFF)!r}, '--csv']); "
        "sys.exit(any(name in sys.modules for name in ('matplotlib', 'rich', 'textual')))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


@pytest.mark.slow
@pytest.mark.parametrize("option", [(), ("--csv",)])
def test_an_ascii_pipe_takes_every_name(option: tuple[str, ...], tmp_path: Path) -> None:
    log = tmp_path / "\u6d77.tlog"
    log.write_bytes(ANCHOR.read_bytes())
    run = [sys.executable, "-m", "groundside", "review", str(log), str(SKIFF), *option]
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(run, cwd=ROOT, env=environment, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert rb"\u6d77.tlog" in done.stdout


def test_help_has_an_example_and_warns_of_the_track(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = review(capsys, "--help")
    assert code == 0
    text = " ".join(out.split())
    assert "example: wattwake-groundside review" in text
    assert "the track, which shows where" in text
