"""Sheets of charges: valid ones, and the message for each kind of invalid one."""

from pathlib import Path

import pytest

from groundside.reports.reconcile.charge_sheet import (
    ChargeSheet,
    StatedCharge,
    checked,
    read_charge_sheet,
)
from onboard.errors import UsageError

GOOD = """
meter = "dc"
full_to_full = true

[[charge]]
logs = ["a.tlog", "b"]
charged_wh = 812
charged_ah = 15.9

[[charge]]
logs = ["c.tlog"]
charged_wh = 700.5
charged_ah = 13.1
full_to_full = false
unlogged_ah = 0.3
"""


def read(folder: Path, text: str) -> ChargeSheet:
    (folder / "charges.toml").write_text(text)
    return checked(read_charge_sheet(folder / "charges.toml"))


def test_a_sheet(tmp_path: Path) -> None:
    first, second = (tmp_path / "a.tlog", tmp_path / "b"), (tmp_path / "c.tlog",)
    assert read(tmp_path, GOOD) == ChargeSheet(
        (
            StatedCharge(first, 812.0, 15.9, None, True),
            StatedCharge(second, 700.5, 13.1, 0.3, False),
        ),
        "dc",
    )


def test_omitted_keys_are_none(tmp_path: Path) -> None:
    stated = read(tmp_path, '[[charge]]\nlogs = ["a"]\ncharged_wh = 5\n')
    assert stated == ChargeSheet((StatedCharge((tmp_path / "a",), 5.0, None, None, None),), None)


ONE = '[[charge]]\nlogs = ["a"]\ncharged_wh = 5\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "[[charge]]"),
        ("charge = 1", "[[charge]]"),
        ("charge = [1]", "[[charge]]"),
        ("x", "TOML"),
        ("meter = " + "1" * 5000, "not valid TOML: too long a number or too deep a list"),
        ("meter = " + "[" * 5000, "not valid TOML: too long a number or too deep a list"),
        ("meter = 0x" + "f" * 5000, "meter = too long to show"),
        ("colour = 1\n" + ONE, "colour"),
        (ONE + "volts = 5", "charge 1: volts"),
        ('meter = "wall"\n' + ONE, "meter = 'wall'"),
        ("full_to_full = 1\n" + ONE, "charge 1: full_to_full = 1"),
        ("[[charge]]\ncharged_wh = 5", "charge 1: logs"),
        ("[[charge]]\nlogs = []\ncharged_wh = 5", "charge 1: logs"),
        ('[[charge]]\nlogs = "a"\ncharged_wh = 5', "charge 1: logs"),
        ('[[charge]]\nlogs = ["a"]\ncharged_wh = -5', "charged_wh = -5"),
        ('[[charge]]\nlogs = ["a"]\ncharged_wh = nan', "charged_wh = nan"),
        ('[[charge]]\nlogs = ["a"]\ncharged_ah = true', "charged_ah = True"),
        ('[[charge]]\nlogs = ["a"]', "--charged-wh or --charged-ah"),
        (ONE + '[[charge]]\nlogs = ["b"]\ncharged_ah = 5', "for every charge, or for none"),
        (ONE + '[[charge]]\nlogs = ["a"]\ncharged_wh = 5', "given twice"),
        ('meter = "ac"\n[[charge]]\nlogs = ["b"]\ncharged_ah = 5', "ampere-hours"),
    ],
)
def test_invalid_sheets(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(UsageError) as refused:
        read(tmp_path, text)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_sheet_that_is_no_text(tmp_path: Path) -> None:
    (tmp_path / "sheet").write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path / "sheet", tmp_path / "none", tmp_path):
        with pytest.raises(UsageError, match=path.name):
            read_charge_sheet(path)
