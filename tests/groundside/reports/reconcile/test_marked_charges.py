"""Charges by the marks of sessions, and a line for each mark that does not fit."""

import json
from pathlib import Path

import numpy as np
import pytest

from groundside.command_line import main
from groundside.reports.reconcile.counted_log import CountedLog
from groundside.reports.reconcile.marked_charges import MarkedCharge, marked_charges
from groundside.studies.charge_balance import Counted
from onboard.contract.commands import Mark
from onboard.contract.remarks import Remark, RemarkCode
from onboard.record.marks import MarkBook, TimedCommand
from tests.groundside.reports.reconcile.made_rides import PACK_AH, POWERS, made_ride, profile_text
from tests.groundside.reports.run_command import refusal

FULL = ("charged_full", None)
HOUR_S = 3600.0


def ah(value: float) -> tuple[str, tuple[str, float]]:
    return "charged", ("charged_ah", value)


def wh(value: float) -> tuple[str, tuple[str, float]]:
    return "charged", ("charged_wh", value)


def left(value: float) -> tuple[str, tuple[str, float]]:
    return "charged", ("left_fraction", value)


class Days:
    """Makes sessions of 10 A at 50 V, with marks at hours from the start of each."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.logs: list[tuple[Path, CountedLog | float]] = []

    def ride(self, hours: float, *marks: tuple[float | None, tuple]) -> "Days":
        path = self.folder / f"2025-06-{len(self.logs) + 1:02d}T09-30-00Z"
        path.mkdir()
        book = MarkBook(path)
        for at_h, (name, amount) in marks:
            t_s = None if at_h is None else HOUR_S * at_h
            stamp_us = round(1e6 * (t_s or 0.0))
            book.write(TimedCommand(t_s, stamp_us, None, Mark(1, name, amount=amount)))
        t_s = np.linspace(0.0, HOUR_S * hours, 361)
        drawn = 10.0 * t_s / HOUR_S
        counted = Counted(10.0 * hours, 500.0 * hours, hours, 50.0 * hours, 0.0, 10.0)
        log = CountedLog(counted, t_s, drawn, 50.0 * drawn, 50.0 * t_s / HOUR_S, (), 0.0)
        self.logs.append((path, log))
        return self

    def found(self) -> tuple[list[MarkedCharge], list[RemarkCode]]:
        charges, remarks = marked_charges(self.logs, 0.25)
        for remark in remarks:
            assert isinstance(remark, Remark)
        return charges, [remark.code for remark in remarks]


@pytest.fixture
def days(tmp_path: Path) -> Days:
    return Days(tmp_path)


def read(charges: list[MarkedCharge]) -> list[tuple[float, float | None, float | None]]:
    return [(round(one.counted.charge_ah, 6), one.charged_ah, one.charged_wh) for one in charges]


@pytest.mark.parametrize(
    "second",
    [
        ((None, ah(15.2)), (None, FULL)),
        ((0.0, FULL), (0.0, ah(15.2))),
        ((0.0, FULL), (0.01, FULL), (0.01, ah(15.2)), (0.01, ah(15.2))),
        ((0.0, left(1.0)), (0.01, ah(15.2))),
    ],
)
def test_the_charge_between_two_rides_in_any_order_of_the_marks(days, second) -> None:
    days.ride(1.5, (0.0, FULL)).ride(1.0, *second)
    charges, remarks = days.found()
    assert read(charges) == [(15.0, 15.2, None)]
    assert remarks == []
    assert [log.name for log in charges[0].logs] == ["2025-06-01T09-30-00Z"]


def test_marks_at_the_end_of_a_ride_and_a_repeated_full_at_the_next_start(days) -> None:
    days.ride(1.5, (0.0, FULL), (1.5, ah(15.2)), (1.5, wh(800.0)), (1.5, FULL))
    days.ride(1.2, (0.0, FULL), (1.2, FULL), (1.2, ah(12.3)))
    charges, remarks = days.found()
    assert read(charges) == [(15.0, 15.2, 800.0), (12.0, 12.3, None)]
    assert remarks == []


def test_a_charge_at_noon_divides_a_session(days) -> None:
    days.ride(2.0, (0.0, FULL), (0.8, ah(8.1)), (0.8, FULL), (2.0, FULL), (2.0, ah(12.2)))
    charges, remarks = days.found()
    assert read(charges) == [(8.0, 8.1, None), (12.0, 12.2, None)]
    assert charges[0].counted.energy_wh == pytest.approx(400.0)
    assert charges[0].counted.sensor_hours_h == pytest.approx(0.8)
    assert charges[0].counted.volt_hours_vh == pytest.approx(40.0)
    assert charges[0].counted.flowing_a == pytest.approx(10.0)
    assert remarks == []


def test_rides_and_partial_charges_up_to_the_next_full_one_add_up(days) -> None:
    days.ride(0.5, (0.0, FULL)).ride(0.7, (0.0, ah(4.0))).ride(0.2).ride(1.0, (0.0, ah(10.1)))
    days.ride(0.3, (0.0, ah(9.9)), (0.0, FULL), (0.1, ("charged", ("charged_wh", 0.0))))
    charges, remarks = days.found()
    assert read(charges) == [(24.0, 24.0, None)]
    assert len(charges[0].logs) == 4
    assert remarks == []


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        # No amount; one before all rides; full only afterwards; never full.
        ([(0.0, FULL)], [(0.0, FULL)], RemarkCode.MARK_NO_AMOUNT),
        ([(0.0, ah(9.0)), (0.0, FULL)], [], RemarkCode.MARK_EARLIER),
        ([], [(0.0, ah(15.1)), (0.0, FULL)], RemarkCode.MARK_NOT_FROM_FULL),
        ([], [(0.0, FULL), (0.0, ah(15.1))], RemarkCode.MARK_NOT_FROM_FULL),
        ([(0.0, FULL)], [(0.0, ah(5.0))], RemarkCode.MARK_NEVER_FULL),
        # Charged to a share by no meter; two charges of which one is in Wh.
        ([(0.0, FULL)], [(0.0, left(0.8))], RemarkCode.MARK_PARTIAL),
        ([(0.0, FULL), (0.7, ah(7.0))], [(0.0, wh(420.0)), (0.0, FULL)], RemarkCode.MARK_KINDS),
    ],
)
def test_what_does_not_fit_is_left_out_and_named(days, first, second, says) -> None:
    days.ride(1.5, *first).ride(1.0, *second)
    charges, remarks = days.found()
    assert (charges, remarks) == ([], [says])


@pytest.mark.parametrize("marks", [(ah(10.2), FULL), (FULL, ah(10.2))])
def test_a_charge_that_cannot_count_is_named_once(days, marks) -> None:
    days.ride(1.5, (0.0, FULL)).ride(1.0, (0.0, left(0.7))).ride(1.0, *((0.0, m) for m in marks))
    assert days.found() == ([], [RemarkCode.MARK_PARTIAL])


def test_after_what_does_not_fit_the_next_full_charge_counts(days) -> None:
    days.ride(1.5, (0.0, FULL)).ride(1.0, (0.0, left(0.7))).ride(1.2, (0.0, FULL))
    days.ride(0.5, (0.0, ah(12.4)), (0.0, FULL))
    charges, remarks = days.found()
    assert read(charges) == [(12.0, 12.4, None)]
    assert remarks == [RemarkCode.MARK_PARTIAL]


def test_a_ride_in_between_that_was_not_given_breaks_the_charge_if_it_drew_something(days) -> None:
    days.ride(1.5, (0.0, FULL)).ride(1.0, (0.0, FULL), (0.0, ah(15.2)))
    between = days.folder / "between"
    (first, second) = days.logs
    for drawn_ah, count in ((0.1, 1), (3.0, 0)):
        charges, remarks = marked_charges([first, (between, drawn_ah), second], 0.25)
        assert len(charges) == count
    assert [one.code for one in remarks] == [RemarkCode.MARK_SESSION_BETWEEN]


# -- the command --


def saved(folder: Path, number: int, power, *marks: tuple) -> Path:
    ride = made_ride(*power).log
    path = folder / f"2025-06-{14 + number}T09-30-00Z"
    path.mkdir(parents=True)
    (path / "telemetry.tlog").write_bytes(ride)
    sensors = "current_offset_a = 0.35\nvoltage_scale = 1.002"
    (path / "profile.toml").write_text(profile_text(PACK_AH, sensors))
    book = MarkBook(path)
    for name, amount in marks:
        stamp_us = int.from_bytes(ride[:8], "big")
        book.write(TimedCommand(1.0, stamp_us, None, Mark(1, name, amount=amount)))
    return path


def three_days(folder: Path) -> list[Path]:
    back = [made_ride(*power).charge_ah for power in POWERS]
    return [
        saved(folder, 1, POWERS[0], FULL),
        saved(folder, 2, POWERS[1], ah(round(back[0], 4)), FULL),
        saved(folder, 3, POWERS[2], FULL, ah(round(back[1], 4))),
    ]


def test_sessions_alone_give_the_scale(capsys, tmp_path) -> None:
    first, second, third = three_days(tmp_path)
    assert main(["reconcile", *map(str, (second, third, first)), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert [one["logs"] for one in found["charges"]] == [[str(first)], [str(second)]]
    assert all(one["full_to_full"] for one in found["charges"])
    assert found["current_scale"]["low"] < 1.06 < found["current_scale"]["high"]
    assert found["verdict"] == "sensor_reads_low"
    sources = [one["source"] for one in found["uncertainties"]]
    assert sources[0] in ("meter", "full")
    reaches = [one["reach_fraction"] for one in found["uncertainties"]]
    scale = found["current_scale"]
    whole = (scale["high"] - scale["value"]) / scale["value"]
    assert sum(reach**2 for reach in reaches) == pytest.approx(whole**2, rel=1e-6)
    assert found["remarks"][-1]["code"] == f"by_{sources[0]}"


def test_a_session_left_out_in_between_is_named(capsys, tmp_path) -> None:
    first, _, third = three_days(tmp_path)
    problem = refusal(capsys, "reconcile", str(first), str(third))
    assert "no charge from full to full is marked" in problem
    assert "2025-06-16T09-30-00Z lies between those given and drew 0.4" in problem


def test_a_sheet_and_sessions_together(capsys, tmp_path) -> None:
    first, second, third = three_days(tmp_path / "sessions")
    (tmp_path / "ride.tlog").write_bytes(made_ride(*POWERS[1]).log)
    sheet = tmp_path / "charges.toml"
    sheet.write_text('[[charge]]\nlogs = ["ride.tlog"]\ncharged_wh = 24\nfull_to_full = true\n')
    both = ["reconcile", *map(str, (first, second, third)), "--sheet", str(sheet)]
    both += ["--profile", str(first / "profile.toml")]
    assert main([*both, "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    read_in = [(one["charged_ah"] is None, one["charged_wh"]) for one in found["charges"]]
    assert read_in == [(True, 24.0), (False, None), (False, None)]
    assert main(both) == 1
    out = capsys.readouterr().out
    assert "Largest uncertainty: " in out
    assert "Uncertainty by source, +-: " in out
    sheet.write_text(f'[[charge]]\nlogs = ["{first}"]\ncharged_ah = 0.44\n')
    assert "given twice" in refusal(capsys, *both)
    log = str(first / "telemetry.tlog")
    assert "--sheet" in refusal(capsys, "reconcile", log, "--sheet", str(sheet))


def test_sessions_without_marks_say_what_to_give(capsys, tmp_path) -> None:
    path = saved(tmp_path, 1, POWERS[1])
    assert "--charged-ah" in refusal(capsys, "reconcile", str(path))
