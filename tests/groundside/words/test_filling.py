"""Each value appears in its place in the sentence."""

import pytest

from groundside.words.alerts import alert_text
from groundside.words.reasons import reason_text
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason

KMH = CHOICES["km/h"]


def test_frames_that_were_refused_are_counted_by_why() -> None:
    refused = Alert(AlertCode.FRAMES_REFUSED, unsigned=1, wrong=2, repeated=3)
    expected = "Frames refused: 1 unsigned, 2 wrongly signed, 3 repeated."
    assert alert_text(refused, KMH) == expected


@pytest.mark.parametrize(
    ("reason", "expected"),
    [
        (Reason.POWER_QUIET, "no power from battery 1 for 7 s"),
        (Reason.SPEED_QUIET, "no speed from battery 1 for 7 s"),
    ],
)
def test_the_silent_source_is_named(reason: Reason, expected: str) -> None:
    assert reason_text(Unknown(reason, source="battery 1", age_s=7.0), KMH) == expected


@pytest.mark.parametrize(
    ("code", "name", "expected"),
    [
        (AlertCode.NEAR_CUTOFF, "volts_v", "low when last heard"),
        (AlertCode.DRIVE_HOT, "temperature_degc", "too hot when last heard"),
        (AlertCode.ENERGY_LOW, "left_wh", "when last known"),
    ],
)
def test_an_alert_whose_value_is_lost_keeps_its_last_state(code, name: str, expected: str) -> None:
    assert expected in alert_text(Alert(code, **{name: None}), KMH)


@pytest.mark.parametrize(
    ("alert", "expected"),
    [
        (
            Alert(AlertCode.CELL_LOW, cell=5, source="battery 0", cell_v=2.984),
            "Cell 5 of battery 0 at 2.98 V, near its cut-off: ease off now.",
        ),
        (
            Alert(AlertCode.CELLS_UNEVEN, cell=12, source="battery 1", apart_v=0.148),
            "Cells of battery 1 are 0.15 V apart: cell 12 will be empty first. Balance them.",
        ),
        (
            Alert(AlertCode.NEAR_CUTOFF, volts_v=42.86),
            "Battery at 42.9 V, near its cut-off: ease off now.",
        ),
    ],
)
def test_a_cell_s_voltage_has_two_decimals_and_a_pack_s_one(alert: Alert, expected: str) -> None:
    assert alert_text(alert, KMH) == expected


def test_an_error_number_that_no_system_has_is_written_as_it_came() -> None:
    down = Alert(AlertCode.MARKS_STOPPED, errno=2**63)
    assert alert_text(down, KMH) == f"Marks are not being saved: unknown error {2**63}."


@pytest.mark.parametrize(
    ("reasons", "expected"),
    [
        (("no_fix", "of_tomorrow"), "no GPS fix; {}"),
        (("of_tomorrow",), "{}"),
    ],
)
def test_a_newer_daemons_reason_is_named_within_another(
    reasons: tuple[str, ...], expected: str
) -> None:
    newer = "a reason that this viewer does not know: of_tomorrow"
    text = reason_text(Unknown(Reason.NO_DOUBLE_RUN, reasons=reasons), KMH)
    assert text == f"no double run ({expected.format(newer)})"


def test_without_its_reasons_there_is_no_double_run_all_the_same() -> None:
    assert reason_text(Unknown(Reason.NO_DOUBLE_RUN, reasons=None), KMH) == "no double run"
