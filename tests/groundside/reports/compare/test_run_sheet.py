"""Run sheets: valid ones, and the message for each kind of invalid one."""

from pathlib import Path

import pytest

from groundside.reports.compare.run_sheet import RunEntry, entries_of, read_run_sheet
from onboard.efficiency.trial.runs import SpanKind
from onboard.errors import UsageError

RUN = '[[run]]\nsetup = "a"\nlog = "day.tlog"\n'


def toml(folder: Path, text: str | bytes, name: str = "runs.toml") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def why_not(path: Path) -> str:
    with pytest.raises(UsageError) as caught:
        read_run_sheet(path)
    text = str(caught.value)
    assert text.isprintable()
    assert text.startswith(f"{path}: ")
    return text.removeprefix(f"{path}: ")


def test_a_sheet(tmp_path: Path) -> None:
    found = read_run_sheet(toml(tmp_path, RUN + 'start_s = 10\nend_s = 99.5\n[[run]]\nsetup=" b "\n'
                            'log="far/away.tlog"'))  # fmt: skip
    assert found == [
        RunEntry("a", tmp_path / "day.tlog", 10, 99.5),
        RunEntry("b", tmp_path / "far" / "away.tlog"),
    ]


def test_log_paths_are_relative_to_the_sheet_or_absolute(tmp_path: Path) -> None:
    far = RUN.replace("day.tlog", "/elsewhere/day.tlog") + RUN.replace("day", "~/x")
    one, home = read_run_sheet(toml(tmp_path, far))
    assert one.log == Path("/elsewhere/day.tlog")
    assert home.log == Path.home() / "x.tlog"
    nobody = toml(tmp_path, RUN.replace("day", "~nobody-of-that-name/x"))
    assert "nobody of that name" in why_not(nobody)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no run in it: expected [[run]] with setup and log for each"),
        ("a = " + "1" * 5000, "not valid TOML: too long a number or too deep a list"),
        ("a = " + "[" * 5000, "not valid TOML: too long a number or too deep a list"),
        ("a = = 3", "not valid TOML: Invalid value (at line 1, column 5)"),
        ('kind = "oval"\n' + RUN, "kind = 'oval': expected laps or there_and_back"),
        ('kind = "either"\n' + RUN, "kind = 'either': expected laps or there_and_back"),
        ("kind = [1]\n" + RUN, "kind = [1]: expected laps or there_and_back"),
        ("foo = 1\n" + RUN, "'foo': no such key: expected kind and [[run]] only"),
        ('"\\u001b[31mx" = 1', "'\\x1b[31mx': no such key: expected kind and [[run]] only"),
        ('[run]\nsetup = "a"', "run: expected [[run]], in double brackets, for each run"),
        ("run = [1]", "run: expected [[run]], in double brackets, for each run"),
        ("run = 7", "run: expected [[run]], in double brackets, for each run"),
        ('[[run]]\nlog = "x"', "run 1: setup: missing: each run needs setup and log"),
        (RUN + '[[run]]\nsetup = "x"', "run 2: log: missing: each run needs setup and log"),
        ('[[run]]\nsetup = 3\nlog = "x"', "run 1: setup = 3: expected a line of text"),
        ('[[run]]\nsetup = " "\nlog = "x"', "run 1: setup = ' ': expected a line of text"),
        (
            '[[run]]\nsetup = "a\\u001b[31m"\nlog = "x"',
            "run 1: setup = 'a\\x1b[31m': expected a line of text",
        ),
        (
            '[[run]]\nsetup = "a"\nlog = "x\\u202e"',
            "run 1: log = 'x\\u202e': expected a line of text",
        ),
        (
            RUN + "strat_s = 3",
            "run 1: 'strat_s': no such key: expected some of setup, log, start_s, end_s",
        ),
        (RUN + "start_s = 3", "run 1: expected both start_s and end_s, or neither"),
        (RUN + "end_s = 3", "run 1: expected both start_s and end_s, or neither"),
        *(
            (
                RUN + f"start_s = {given}\nend_s = 5",
                f"run 1: start_s = {shown}: expected seconds from the log's start",
            )
            for given, shown in [
                ('"3"', "'3'"), ("true", "True"), ("nan", "nan"), ("-1", "-1"), ("[1]", "[1]"),
            ]
        ),
        (
            RUN + "start_s = 0\nend_s = inf",
            "run 1: end_s = inf: expected seconds from the log's start",
        ),
        (RUN + "start_s = 10\nend_s = 5", "run 1: end_s = 5: expected more than start_s, 10"),
        (RUN + "start_s = 5\nend_s = 5", "run 1: end_s = 5: expected more than start_s, 5"),
        (RUN + RUN, "runs 1 and 2 of day.tlog overlap: each second counts once"),
        (
            RUN + "start_s = 50\nend_s = 150\n" + RUN + "start_s = 0\nend_s = 51",
            "runs 2 and 1 of day.tlog overlap: each second counts once",
        ),
        (
            RUN + "start_s = 50\nend_s = 150\n" + RUN,
            "runs 2 and 1 of day.tlog overlap: each second counts once",
        ),
        (b"setup = '\xe9'", "not a text file: expected a run sheet"),
    ],
)  # fmt: skip
def test_invalid_toml_sheets(tmp_path: Path, text: str | bytes, why: str) -> None:
    assert why_not(toml(tmp_path, text)) == why


def test_adjacent_runs_do_not_overlap(tmp_path: Path) -> None:
    text = RUN + "start_s = 0\nend_s = 50\n" + RUN + "start_s = 50\nend_s = 90\n"
    assert len(read_run_sheet(toml(tmp_path, text))) == 2


def test_one_log_under_two_names_is_one_log(tmp_path: Path) -> None:
    (tmp_path / "day.tlog").write_bytes(b"x")
    (tmp_path / "link.tlog").symlink_to(tmp_path / "day.tlog")
    (tmp_path / "far").mkdir()
    for other in ("./day.tlog", "far/../day.tlog", "link.tlog", str(tmp_path / "day.tlog")):
        text = RUN + RUN.replace("day.tlog", other)
        assert "runs 1 and 2" in why_not(toml(tmp_path, text))
    (tmp_path / "far" / "telemetry.tlog").write_bytes(b"x")
    folder = RUN.replace("day.tlog", "far") + RUN.replace("day.tlog", "far/telemetry.tlog")
    assert "runs 1 and 2" in why_not(toml(tmp_path, folder))


def test_a_missing_sheet(tmp_path: Path) -> None:
    assert why_not(tmp_path / "runs.toml") == "cannot be read (No such file or directory)"
    (tmp_path / "folder.csv").mkdir()
    assert why_not(tmp_path / "folder.csv") == "cannot be read (Is a directory)"


def csv(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    return toml(folder, text.encode(encoding), "runs.csv")


EXPECTED = [(10.0, 99.5), (None, None)]


@pytest.mark.parametrize(
    "text",
    [
        "setup,log,start_s,end_s\na,day.tlog,10,99.5\nb,two.tlog,,\n",
        "setup,log,start_s,end_s\r\na,day.tlog,10,99.5\r\nb,two.tlog,,\r\n",
        "end_s,start_s,log,setup\n99.5,10,day.tlog,a\n,,two.tlog,b\n",
        "\nsetup,log,start_s,end_s\n\na,day.tlog,10,99.5\n,,,\n\nb,two.tlog,,\n\n",
        'setup, log, start_s, end_s\n"a", "day.tlog", 10, 99.5\n b , two.tlog , , \n',
        "setup;log;start_s;end_s\na;day.tlog;10,0;99,5\nb;two.tlog;;\n",
        "setup ,log ,start_s ,end_s \na,day.tlog,10,99.5\nb,two.tlog,,\n",
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_csv_sheets(tmp_path: Path, text: str, encoding: str) -> None:
    one, two = read_run_sheet(csv(tmp_path, text, encoding))
    assert (one.setup, one.log, one.start_s, one.end_s) == ("a", tmp_path / "day.tlog", 10.0, 99.5)
    assert (two.setup, two.log, two.start_s, two.end_s) == ("b", tmp_path / "two.tlog", None, None)


def test_a_csv_sheet_without_times(tmp_path: Path) -> None:
    (one,) = read_run_sheet(csv(tmp_path, 'setup,log\n"two blades, cut",day.tlog\n'))
    assert one == RunEntry("two blades, cut", tmp_path / "day.tlog")


HEAD = "expected a first line with setup,log,start_s,end_s, each once"
CELLS = "expected as many values as the first line has names, empty where nothing is to be said"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", HEAD),
        ("a,day.tlog\n", HEAD),
        ("setup|log\na|day.tlog\n", HEAD),
        (
            "setup;log;start_s;end_s\na;day.tlog;1.000,5;9\n",
            "run 1: start_s = '1.000,5': expected seconds from the log's start",
        ),
        ("setup,setup,log\na,b,day.tlog\n", HEAD),
        ("setup,start_s,end_s\na,3,4\n", HEAD),
        ("setup,log\n\n", "no run in it: expected a line with setup and log for each"),
        ("setup,log,start_s,end_s\na,day.tlog\n", f"line 2: {CELLS}"),
        ("setup,log\na,day.tlog,3\n", f"line 2: {CELLS}"),
        ("setup,log\na,\n", "run 1: log: missing: each run needs setup and log"),
        (
            "setup,log,start_s,end_s\na,day.tlog,x,9\n",
            "run 1: start_s = 'x': expected seconds from the log's start",
        ),
        (
            'setup,log,start_s,end_s\na,day.tlog,"3,5",9\n',
            "run 1: start_s = '3,5': expected seconds from the log's start",
        ),
        (
            "setup,log,start_s,end_s\na,day.tlog,nan,9\n",
            "run 1: start_s = nan: expected seconds from the log's start",
        ),
        (
            "setup,log,start_s,end_s\na,day.tlog,,9\n",
            "run 1: expected both start_s and end_s, or neither",
        ),
        (
            "setup,log,rider\na,day.tlog,x\n",
            "run 1: 'rider': no such key: expected some of setup, log, start_s, end_s",
        ),
        ("setup,log\na\x1b[3m,day.tlog\n", "run 1: setup = 'a\\x1b[3m': expected a line of text"),
    ],
)
def test_invalid_csv_sheets(tmp_path: Path, text: str, why: str) -> None:
    assert why_not(csv(tmp_path, text)) == why


def test_sheets_and_logs_can_be_mixed(tmp_path: Path) -> None:
    sheet = toml(tmp_path, RUN)
    found = entries_of([sheet, tmp_path / "session"])
    assert found == [RunEntry("a", tmp_path / "day.tlog"), RunEntry(None, tmp_path / "session")]


def test_a_sheet_is_not_counted_twice(tmp_path: Path) -> None:
    sheet = toml(tmp_path, RUN)
    for paths in ([sheet, sheet], [sheet, tmp_path / "day.tlog"]):
        with pytest.raises(UsageError, match=r"compare: runs 1 and 2 of day\.tlog overlap"):
            entries_of(paths)


@pytest.mark.parametrize("kind", ["laps", "there_and_back"])
def test_a_sheet_says_how_its_runs_were_ridden(kind: str, tmp_path: Path) -> None:
    other = RUN.replace("day", "other")
    said = read_run_sheet(toml(tmp_path, f'kind = "{kind}"\n{RUN}{other}'))
    assert [one.kind for one in said] == [SpanKind(kind)] * 2
    assert read_run_sheet(toml(tmp_path, RUN))[0].kind is SpanKind.EITHER
