"""Full before and after, by the sessions' marks `charged_full`."""

import json
from pathlib import Path

import pytest

from groundside.command_line import main
from onboard.contract.commands import Mark
from onboard.record.marks import MarkBook, TimedCommand
from tests.groundside.reports.reconcile.made_rides import PACK_AH, POWERS, made_ride, profile_text

RIDE_S = POWERS[1][1]


def session(
    folder: Path,
    number: int,
    *marks: tuple[float | None, str],
    power=POWERS[1],
    log: bool = True,
    trip_s: float = 0.0,
) -> Path:
    """Make a session with marks at stream times [s], of a trip that had begun some time before."""
    ride = made_ride(*power).log
    begin_us = int.from_bytes(ride[:8], "big")
    path = folder / f"2025-06-{14 + number}T09-30-00Z"
    path.mkdir()
    if log:
        (path / "telemetry.tlog").write_bytes(ride)
    (path / "profile.toml").write_text(profile_text(PACK_AH))
    book = MarkBook(path)
    for t_s, mark in marks:
        stamp_us = begin_us + round(1e6 * (t_s or 0.0))
        book.write(
            TimedCommand(None if t_s is None else trip_s + t_s, stamp_us, None, Mark(1, mark))
        )
    return path


def full(capsys: pytest.CaptureFixture[str], *logs: Path) -> bool:
    charged = 0.47 * len(logs)
    assert main(["reconcile", *map(str, logs), "--charged-ah", str(charged), "--json"]) in (0, 1)
    found = json.loads(capsys.readouterr().out)
    (charge,) = found["charges"]
    assert charge["full_to_full"] == (found["current_scale"] is not None)
    return charge["full_to_full"]


START, END = (1.0, "charged_full"), (RIDE_S - 0.5, "charged_full")


@pytest.mark.parametrize(
    ("marks", "known"),
    [
        ([], False),
        ([START], False),
        ([END], False),
        ([START, END], True),
        # Before the first message, and by a clock that kept running.
        ([(None, "charged_full"), (9000.0, "charged_full")], True),
        # Much was drawn before, or after, the mark.
        ([(110.0, "charged_full"), END], False),
        ([START, (110.0, "charged_full")], False),
        ([(1.0, "run_start"), (RIDE_S, "run_end")], False),
    ],
)
def test_both_ends_must_be_marked(capsys, tmp_path, marks, known) -> None:
    assert full(capsys, session(tmp_path, 1, *marks)) is known


def test_marks_of_a_continued_trip_go_by_the_session_s_own_record(capsys, tmp_path) -> None:
    assert full(capsys, session(tmp_path, 1, START, END, trip_s=5000.0))
    midway = (110.0, "charged_full")
    assert not full(capsys, session(tmp_path, 2, START, midway, trip_s=5000.0))


def test_a_log_inside_a_session_has_its_marks(capsys, tmp_path) -> None:
    log = session(tmp_path, 1, START, END) / "telemetry.tlog"
    assert full(capsys, log)


def test_the_next_session_may_begin_full(capsys, tmp_path) -> None:
    ridden = session(tmp_path, 1, START)
    session(tmp_path, 0, START)  # a mark of an earlier session does not count
    assert not full(capsys, ridden)
    after = session(tmp_path, 2, START)
    session(tmp_path, 3, START)
    assert full(capsys, ridden)
    (after / "marks.jsonl").unlink()
    assert not full(capsys, ridden)


def test_a_late_mark_or_an_unreadable_next_session_does_not_count(capsys, tmp_path) -> None:
    ridden = session(tmp_path, 1, START)
    session(tmp_path, 2, (110.0, "charged_full"))
    assert not full(capsys, ridden)
    other = tmp_path / "other"
    other.mkdir()
    ridden = session(other, 1, START)
    session(other, 2, START, log=False)
    assert not full(capsys, ridden)


def test_of_several_rides_the_first_and_the_last_count(capsys, tmp_path) -> None:
    first, last = session(tmp_path, 1, START), session(tmp_path, 2, END)
    assert full(capsys, first, last)
    assert not full(capsys, last, first)


def test_for_a_plain_log_the_owner_states_full_to_full(capsys, tmp_path) -> None:
    log, craft = tmp_path / "ride.tlog", tmp_path / "craft.toml"
    log.write_bytes(made_ride(*POWERS[1]).log)
    craft.write_text(profile_text(PACK_AH))
    given = ["reconcile", str(log), "--charged-ah", "0.44", "--profile", str(craft), "--json"]
    for more, known in (([], False), (["--full-to-full"], True)):
        assert main([*given, *more]) in (0, 1)
        assert json.loads(capsys.readouterr().out)["charges"][0]["full_to_full"] is known
