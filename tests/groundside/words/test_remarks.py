"""Sentences made of parts: each part in its place, and no other."""

import pytest

from groundside.words.reasons import reason_text
from groundside.words.remarks import caution_text, remark_text
from groundside.words.units import CHOICES
from onboard.contract.codes import Value
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Caution, CautionCode, Remark, RemarkCode

KMH = CHOICES["km/h"]

HELD = {"setups": (), "powers_w": (), "run_to_run_fraction": None, "within_run_fraction": None}
NOT_KNOWN = "the log has no motor current"


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"setups": ("a", "b"), "powers_w": (419.8, 400.2)}, "420 W with a, 400 W with b"),
        (
            {"setups": ("a", "b", "c"), "powers_w": (405.2, 419.8, 400.2)},
            "420 W with b to 400 W with c",
        ),
        ({"run_to_run_fraction": 0.081}, "it varied by 8 % from run to run"),
        ({"within_run_fraction": 0.058}, "it varied by 6 % within a run"),
        (
            {"setups": ("a",), "powers_w": (400.0,), "held": "not_known"},
            f"400 W with a; {NOT_KNOWN}",
        ),
        (
            {"run_to_run_fraction": 0.04, "within_run_fraction": 0.06, "held": "motor_current"},
            "it varied by 4 % from run to run; it varied by 6 % within a run",
        ),
    ],
)
def test_power_that_was_not_held(values: dict[str, Value], expected: str) -> None:
    caution = Caution(CautionCode.POWER_NOT_HELD, **({"held": None} | HELD | values))
    assert caution_text(caution, KMH) == (
        f"Battery power was not held: {expected}. Hold one battery power and ride again."
    )


@pytest.mark.parametrize(
    ("units", "change", "scatter"),
    [
        ("km/h", "1.08 km/h", "0.18 km/h"),
        ("m/s", "0.30 m/s", "0.05 m/s"),
        ("kn", "0.58 kn", "0.10 kn"),
        ("mph", "0.67 mph", "0.11 mph"),
    ],
)
def test_water_that_changed(units: str, change: str, scatter: str) -> None:
    smooth = Caution(CautionCode.CURRENT_CHANGED, change_mps=0.3, leg_sd_mps=None)
    restless = Caution(CautionCode.CURRENT_CHANGED, change_mps=None, leg_sd_mps=0.05)
    assert f"along the runs changed by {change}; a smooth" in caution_text(smooth, CHOICES[units])
    assert f"from leg to leg (by {scatter}), which" in caution_text(restless, CHOICES[units])


PACK = {"pack_setup": "b", "pack_degc": 27.2, "pack_other": "a", "pack_other_degc": 19.9}
DRIVE = {"drive_setup": "a", "drive_degc": 55.0, "drive_other": "b", "drive_other_degc": 41.0}


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (PACK | dict.fromkeys(DRIVE), "pack 27 °C with b, 20 °C with a"),
        (dict.fromkeys(PACK) | DRIVE, "motor drive 55 °C with a, 41 °C with b"),
        (
            PACK | DRIVE,
            "pack 27 °C with b, 20 °C with a; motor drive 55 °C with a, 41 °C with b",
        ),
    ],
)
def test_temperatures(values: dict[str, Value], expected: str) -> None:
    text = caution_text(Caution(CautionCode.TEMPERATURE_DIFFERS, **values), KMH)
    assert text == f"Temperature differed: {expected}. Let it cool, or alternate, and ride again."


def test_voltages() -> None:
    caution = Caution(
        CautionCode.VOLTAGE_DIFFERS, setup="a", voltage_v=25.04, other="b", other_voltage_v=24.3
    )
    assert caution_text(caution, KMH).startswith(
        "Pack voltage differed: 25.0 V with a, 24.3 V with b. Charge to the same level"
    )


def test_lists() -> None:
    order = Caution(CautionCode.ORDER_CONFOUNDED, setups=("a", "a"), others=("b", "c"))
    assert caution_text(order, KMH).startswith(
        "Not alternated: a and b, a and c. A step in wind, charge or trim"
    )
    more = Caution(CautionCode.ORDER_CONFOUNDED, setups=tuple("aab"), others=tuple("bcc"))
    assert caution_text(more, KMH).startswith("Not alternated: a, b, c. A step")
    many = Caution(CautionCode.ORDER_CONFOUNDED, setups=tuple("abcd"), others=tuple("efgh"))
    assert caution_text(many, KMH).startswith("Not alternated: a, e, b, and 5 more. A step")
    outlier = Caution(CautionCode.OUTLIER_RUN, run_numbers=(5, 6, 7), setup="slim")
    assert caution_text(outlier, KMH).startswith("Runs 5 and 6 and 7 (slim) are unlike")
    lap = Caution(CautionCode.OUTLIER_RUN, run_numbers=(3,), setup="slim")
    assert caution_text(lap, KMH).startswith("Run 3 (slim) is unlike all others")
    few = Caution(CautionCode.TOO_FEW_DOUBLE_RUNS, setups=("a", "c"))
    assert caution_text(few, KMH).startswith("Too few double runs of a, c: run")


def test_reasons_within_a_reason() -> None:
    none = Unknown(Reason.NO_DOUBLE_RUN, reasons=("other_setup_next", "no_run_back"))
    assert reason_text(none, KMH) == (
        "no double run (the next run had another set-up; no run back followed)"
    )


@pytest.mark.parametrize(
    ("reason", "text"),
    [
        (Unknown(Reason.NO_SENSORS_ERROR, times=2.2222), "2.2 times what was counted came back"),
        (Unknown(Reason.NO_SENSORS_ERROR, times=0.4846), "0.48 times what was counted came back"),
        (
            Unknown(Reason.TOO_LITTLE_USED, used_fraction=0.43),
            "43 % of the pack was used: at least half",
        ),
        (
            Unknown(Reason.SCALE_ALONE, charges=3, times=1.5),
            "telling scale from zero takes at least 3 charges, with mean currents that differ by a "
            "factor of 1.5",
        ),
    ],
)
def test_numbers_in_reasons(reason: Unknown, text: str) -> None:
    assert reason_text(reason, KMH).startswith(text)


def test_a_long_log_is_named_in_seconds_as_in_a_sheet() -> None:
    remark = Remark(RemarkCode.NO_RUN_FOUND, log="day.tlog", from_s=10_000.4)
    assert remark_text(remark, KMH).startswith("day.tlog from 10000 s: no straight run")


@pytest.mark.parametrize(
    ("remark", "expected"),
    [
        (
            Remark(RemarkCode.LAP_CUT_SHORT, log="b.tlog", from_s=75.2, missing_fraction=0.18),
            "b.tlog from 75 s: a lap was cut short, 18 % of it is missing",
        ),
        (
            Remark(RemarkCode.LAP_POWER_NOT_HELD, log="b.tlog", from_s=75.2, swing_fraction=0.21),
            "b.tlog from 75 s: power was not held through a lap, it varied by 21 %",
        ),
        (
            Remark(RemarkCode.NO_LAP_FOUND, log="b.tlog", from_s=75.2),
            "b.tlog from 75 s: no lap with known power and speed in it",
        ),
    ],
)
def test_what_is_no_lap(remark: Remark, expected: str) -> None:
    assert remark_text(remark, KMH) == expected


def test_laps_round_other_courses() -> None:
    caution = Caution(
        CautionCode.COURSES_DIFFER,
        usual_lap_m=512.0,
        run_numbers=(3, 5, 6),
        setups=("slim", "broad", "slim"),
        ways=("longer", "other_way_round", "other_shape"),
        laps_m=(604.0, 511.0, 515.0),
    )
    assert caution_text(caution, KMH) == (
        "Laps differ from the usual 0.51 km: run 3 (slim) was 18 % longer, run 5 (broad) went the "
        "other way round, run 6 (slim) had another shape. "
        "Ride all laps round the same marks."
    )
