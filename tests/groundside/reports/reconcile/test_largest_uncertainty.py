"""The largest uncertainty, and that what its remark says halves it."""

from dataclasses import replace

import pytest

from groundside.reports.reconcile.largest_uncertainty import largest_uncertainty, reaches
from groundside.studies.charge_balance import Charge, Conditions, Unlogged
from groundside.studies.charge_errors import Source
from groundside.studies.reconciliation import reconciled
from onboard.contract.remarks import Remark, RemarkCode
from onboard.profile import Sensors
from tests.groundside.studies.made_charges import charge, conditions

EXACT_METER = {"meter_sd_fraction": 0.001}
DRAIN = Unlogged(most_ah=1.0)
GAPPY = replace(charge(20.0, 20.4).counted, bridged_variance_wh2=30.0**2)
ZERO = Sensors(current_offset_sd_a=0.3)
VOLTS = Sensors(voltage_scale_sd=0.1)

CASES: list[tuple[Source, Remark, list[Charge], Conditions, list[Charge], Conditions, float]] = [
    (
        Source.METER,
        Remark(RemarkCode.BY_METER),
        [charge(24.0, 24.4)],
        conditions(),
        [charge(24.0, 24.4)],
        conditions(meter_sd_fraction=0.005),
        0.5,
    ),
    (
        Source.FULL,
        Remark(RemarkCode.BY_FULL, charges=3),
        [charge(13.0, 13.2)],
        conditions(**EXACT_METER),
        [charge(13.0, 13.2)] * 4,
        conditions(**EXACT_METER),
        0.5,
    ),
    (
        Source.FULL,
        Remark(RemarkCode.BY_FULL, charges=3),
        [charge(12.5, 12.7)],
        conditions(**EXACT_METER),
        [charge(25.0, 25.4)],
        conditions(**EXACT_METER),
        0.5,
    ),
    (
        Source.UNLOGGED,
        Remark(RemarkCode.BY_UNLOGGED),
        [charge(20.0, 20.4, unlogged=DRAIN)],
        conditions(),
        [charge(20.0, 20.4)],
        conditions(),
        0.0,
    ),
    (
        Source.GAPS,
        Remark(RemarkCode.BY_GAPS),
        [replace(charge(20.0, 20.4), counted=GAPPY)],
        conditions(),
        [charge(20.0, 20.4)],
        conditions(),
        0.0,
    ),
    (
        Source.ZERO,
        Remark(RemarkCode.BY_CURRENT_OFFSET),
        [charge(20.0, 20.4)],
        conditions(ZERO),
        [charge(20.0, 20.4)],
        conditions(replace(ZERO, current_offset_sd_a=0.15)),
        0.5,
    ),
    (
        Source.RETURNED,
        Remark(RemarkCode.BY_RETURNED_CHARGE),
        [charge(20.0, 20.4)] * 3,
        conditions(**EXACT_METER),
        [charge(20.0, 20.4)] * 12,
        conditions(**EXACT_METER),
        1.0,
    ),
    (
        Source.VOLTAGE,
        Remark(RemarkCode.BY_VOLTAGE_SCALE),
        [charge(20.0, None, 1050.0)],
        conditions(VOLTS),
        [charge(20.0, None, 1050.0)],
        conditions(replace(VOLTS, voltage_scale_sd=0.05)),
        0.5,
    ),
    (
        Source.LOSSES,
        Remark(RemarkCode.BY_PACK_LOSSES),
        [charge(20.0, None, 1050.0)],
        conditions(),
        [charge(20.0, 20.4)],
        conditions(),
        0.0,
    ),
    (
        Source.CHARGER,
        Remark(RemarkCode.BY_CHARGER),
        [charge(20.0, None, 1160.0)],
        conditions(at_wall=True),
        [charge(20.0, None, 1050.0)],
        conditions(),
        0.0,
    ),
]


@pytest.mark.parametrize("case", CASES)
def test_the_largest_is_named_and_what_is_said_of_it_holds(case) -> None:
    source, says, now, known, then, known_then, share = case
    before = reconciled(now, known)
    assert largest_uncertainty(before, 1) == says
    assert next(iter(reaches(before))) is source
    after = reaches(reconciled(then, known_then)).get(source, 0.0)
    assert after == pytest.approx(share * reaches(before)[source], rel=0.02)


def test_every_source_has_its_remark() -> None:
    assert {says.code for _, says, *_ in CASES} == {
        code for code in RemarkCode if code.startswith("by_")
    }
    assert {source for source, *_ in CASES} == set(Source)
