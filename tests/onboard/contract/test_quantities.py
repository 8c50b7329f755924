"""A value is read according to the unit in its name."""

import json

import pytest

from onboard.contract.codec import plain, read
from onboard.contract.codes import Value
from onboard.contract.figure import Unknown
from onboard.contract.quantities import kind_of
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Caution, CautionCode, Remark, RemarkCode

STATEMENTS = [
    Caution(
        CautionCode.POWER_NOT_HELD,
        setups=("a", "b"),
        powers_w=(420.0, 400.5),
        run_to_run_fraction=0.04,
        within_run_fraction=None,
        held="not_known",
    ),
    Caution(CautionCode.OUTLIER_RUN, run_numbers=(3, 4), setup="a"),
    Remark(RemarkCode.SOME_FULL, full_charges=2, charges=3),
    Remark(RemarkCode.PACKS_UNMEASURED, packs=(1,)),
    Unknown(Reason.SCALE_ALONE, charges=3, times=1.5),
    Unknown(Reason.NO_DOUBLE_RUN, reasons=("no_run_back",)),
]


@pytest.mark.parametrize("statement", STATEMENTS, ids=lambda statement: statement.code.code)
def test_there_and_back(statement: Caution | Remark | Unknown) -> None:
    assert read(type(statement), json.loads(json.dumps(plain(statement)))) == statement


@pytest.mark.parametrize(
    ("kind", "raw"),
    [
        ("quantity", "12"),
        ("quantity", [12.0]),
        ("quantities", 12.0),
        ("quantities", [12.0, "a"]),
        ("count", 1.5),
        ("counts", [1, 1.5]),
        ("counts", 1),
        ("text", 1),
        ("texts", "a"),
    ],
)
def test_an_invalid_value_is_not_known(kind: str, raw: Value) -> None:
    by_name = {name: statement for statement in STATEMENTS for name in statement.values}
    names = [name for name in by_name if kind_of(name) == kind]
    assert names
    for name in names:
        found = read(type(by_name[name]), plain(by_name[name]) | {name: raw})
        assert found.values[name] is None
