"""Where the power goes: the sentence for gains and losses."""

import pytest

from groundside.reports.compare.power_splits import PairSplit
from groundside.reports.compare.split_text import split_sentence


@pytest.mark.parametrize(
    ("motor", "rest", "ending"),
    [
        (0.01, -0.04, " In the motor A loses part of what it gains in the water."),
        (0.03, -0.04, " In the motor A loses most of what it gains in the water."),
        (0.05, -0.04, " In the motor A loses more than what it gains in the water."),
        (-0.01, 0.04, " In the water A loses more than what it gains in the motor."),
        (0.005, -0.04, ""),
        (-0.01, -0.04, ""),
    ],
)
def test_the_sentence_for_gains_and_losses(motor: float, rest: float, ending: str) -> None:
    text = split_sentence(PairSplit("A", "B", motor, rest), sure=True)
    assert text.endswith(f"drive {100 * motor:+.1f} %.{ending}")
    assert f"make {100 * rest:+.1f} %" in text
