"""Each value stands in the sentence where it belongs."""

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
    said = "Frames refused: 1 unsigned, 2 wrongly signed, 3 repeated."
    assert alert_text(refused, KMH) == said


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (Reason.POWER_QUIET, "no power from battery 1 for 7 s"),
        (Reason.SPEED_QUIET, "no speed from battery 1 for 7 s"),
    ],
)
def test_what_is_quiet_is_called_what_it_is(reason: Reason, said: str) -> None:
    assert reason_text(Unknown(reason, source="battery 1", age_s=7.0), KMH) == said


@pytest.mark.parametrize(
    ("code", "name", "said"),
    [
        (AlertCode.NEAR_CUTOFF, "volts_v", "low when last heard"),
        (AlertCode.DRIVE_HOT, "temperature_degc", "too hot when last heard"),
        (AlertCode.ENERGY_LOW, "left_wh", "when last known"),
    ],
)
def test_what_is_not_heard_any_more_is_told_as_what_it_was(code, name: str, said: str) -> None:
    assert said in alert_text(Alert(code, **{name: None}), KMH)
