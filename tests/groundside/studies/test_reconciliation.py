"""The verdict on the sensors."""

import pytest

from groundside.studies.current_fit import CONTRADICTED
from groundside.studies.reconciliation import reconciled
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Finding, FindingCode
from onboard.profile import Sensors
from tests.groundside.studies.made_charges import EXACT, charge, conditions, drawn

# Counted: 20 Ah and 1000 Wh. By the losses of Li-ion some 1050 Wh should come back.
VERDICTS = [
    (20.0, None, "consistent", FindingCode.FITS),
    (20.0, 1050.0, "consistent", FindingCode.FITS),
    (None, 1050.0, "consistent", FindingCode.FITS),
    (21.0, None, "sensor_reads_low", FindingCode.MORE_CHARGE),
    (21.0, 1050.0, "sensor_reads_low", FindingCode.MORE_CHARGE),
    (19.0, None, "sensor_reads_high", FindingCode.LESS_CHARGE),
    (19.0, 1050.0, "sensor_reads_high", FindingCode.LESS_CHARGE),
    (None, 1200.0, "sensor_reads_low", FindingCode.MORE_ENERGY),
    (None, 900.0, "sensor_reads_high", FindingCode.LESS_ENERGY),
    # The current is right, so voltage or pack is wrong.
    (20.0, 1200.0, "cannot_tell", FindingCode.VOLTAGE_OR_PACK),
    (20.0, 900.0, "sensor_reads_high", FindingCode.VOLTAGE_READS_HIGH),
]


@pytest.mark.parametrize(("back_ah", "back_wh", "verdict", "why"), VERDICTS)
def test_beside_the_pack(back_ah, back_wh, verdict, why) -> None:
    found = reconciled([charge(20.0, back_ah, back_wh)], conditions())
    assert (found.verdict, found.why) == (verdict, Finding(why))


@pytest.mark.parametrize(
    ("back_wh", "verdict", "why"),
    [
        (1160.0, "consistent", FindingCode.WALL_FITS),
        (1090.0, "consistent", FindingCode.WALL_FITS),
        (1500.0, "cannot_tell", FindingCode.WALL_MORE),
        (1030.0, "cannot_tell", FindingCode.WALL_LESS),
        (900.0, "sensor_reads_high", FindingCode.WALL_TOO_LITTLE),
    ],
)
def test_at_the_wall(back_wh, verdict, why) -> None:
    found = reconciled([charge(20.0, None, back_wh)], conditions(at_wall=True))
    assert (found.verdict, found.why) == (verdict, Finding(why))
    assert found.correction == Unknown(Reason.METER_AT_WALL)
    assert found.expected_ah == Unknown(Reason.AH_AT_WALL)


@pytest.mark.parametrize("off", [0.03, -0.03, 0.06, -0.06])
def test_verdict_and_scale_agree(off: float) -> None:
    for seed in range(20):
        found = reconciled(drawn(seed, scale=1.0 + off), conditions())
        assert isinstance(found.correction.scale, Figure)
        beyond = not found.correction.scale.low <= 1.0 <= found.correction.scale.high
        near = min(abs(found.correction.scale.low - 1.0), abs(found.correction.scale.high - 1.0))
        side = "sensor_reads_low" if found.correction.scale.value > 1.0 else "sensor_reads_high"
        # First order on either side of the equation: they differ by thousandths at the limit.
        assert near < 2e-3 or found.verdict == (side if beyond else "consistent")


def test_a_sound_sensor_is_blamed_no_more_often_than_stated() -> None:
    blamed = sum(
        reconciled(drawn(seed), conditions()).verdict != "consistent" for seed in range(400)
    )
    # 5 % of 400, and 99 % of the binomial about it.
    assert 9 <= blamed <= 31


def test_a_charge_small_against_its_uncertainty_gives_no_verdict() -> None:
    found = reconciled([charge(1.0, 1.0)], conditions())
    assert (found.verdict, found.why) == ("cannot_tell", Finding(FindingCode.TOO_UNCERTAIN))
    # However uncertain a small amount is, three times as much is beyond its uncertainty.
    assert reconciled([charge(1.0, 3.0)], conditions()).verdict == "sensor_reads_low"


def test_several_charges_add_up() -> None:
    found = reconciled([charge(20.0, 20.1, 1040.0), charge(16.0, 16.2, 850.0)], conditions())
    assert found.counted_ah.charge_ah == found.counted_wh.charge_ah == 36.0
    assert found.charged_ah == pytest.approx(36.3)
    assert found.charged_wh == 1890.0
    assert found.verdict == "consistent"


def test_a_charge_that_was_not_full_at_both_ends_is_left_out_beside_others() -> None:
    partial = charge(20.0, 9.0, 470.0, full=False)
    found = reconciled([charge(16.0, 16.2, 850.0), partial], conditions())
    assert (found.counted_ah.charge_ah, found.charged_ah, found.charged_wh) == (16.0, 16.2, 850.0)
    assert found.verdict == "consistent"
    alone = reconciled([partial], conditions())
    assert (alone.charged_ah, alone.verdict) == (9.0, "sensor_reads_high")


def test_charges_read_in_different_units_are_judged_each_with_its_own() -> None:
    found = reconciled([charge(20.0, 20.1), charge(16.0, None, 850.0)], conditions())
    assert (found.counted_ah.charge_ah, found.charged_ah) == (20.0, 20.1)
    assert (found.counted_wh.charge_ah, found.charged_wh) == (16.0, 850.0)
    assert (found.charge, found.energy, found.correction.used) == ("within", "within", 2)


def test_what_the_verdict_is_uncertain_by_adds_up_to_its_interval() -> None:
    for charges, known, figure in (
        ([charge(20.0, 20.4)], conditions(), lambda found: found.correction.scale),
        ([charge(20.0, 20.4, full=False)], conditions(), lambda found: found.expected_ah),
        ([charge(20.0, None, 1160.0)], conditions(at_wall=True), lambda found: found.expected_wh),
    ):
        found = reconciled(charges, known)
        whole = figure(found)
        sd = (whole.high - whole.value) / 1.959964 / whole.value
        assert sum(found.uncertain_by.values()) == pytest.approx(sd**2, rel=1e-9)


def test_contradictory_charges_give_no_verdict() -> None:
    found = reconciled([charge(20.0, 20.4), charge(18.0, 21.4)], conditions())
    assert found.correction is CONTRADICTED
    assert (found.verdict, found.why) == ("cannot_tell", Finding(FindingCode.CHARGES_CONTRADICT))


def test_a_scale_and_a_zero_that_cancel_are_found_separately() -> None:
    # The scale is 4 % low, the zero 0.4 A high: at 10 A the errors cancel.
    amps = (5.0, 10.0, 20.0, 10.0, 20.0, 5.0)
    charges = []
    for current in amps:
        hours = 16.0 / current
        charges.append(charge(16.0, 1.04 * 16.0 - 0.4 * hours, amps=current))
    found = reconciled(charges, conditions())
    assert found.charge == "within"
    assert found.verdict == "sensor_reads_low"
    assert found.why == Finding(FindingCode.SCALE_READS_LOW)
    stated = Sensors(current_scale=1.04, current_offset_a=-0.4, current_offset_sd_a=0.0)
    right = [
        charge(1.04 * 16.0 - 0.4 * 16.0 / a, 1.04 * 16.0 - 0.4 * 16.0 / a, amps=a) for a in amps
    ]
    assert reconciled(right, conditions(stated)).verdict == "consistent"
    assert EXACT.current_scale == 1.0
