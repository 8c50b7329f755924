"""The cue by the range shown, for a distance to go."""

import pytest

from groundside.studies.consumption_cue import distance_target
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason


@pytest.mark.parametrize(
    ("surely_m", "cue", "difference"),
    [(20_000.0, "hold", 0.0), (19_740.0, "ease", 0.01317), (16_000.0, "ease", 0.25)],
)
def test_the_cue_by_the_range(surely_m: float, cue: str, difference: float) -> None:
    # At 30 Wh/km now; the range is likely longer, but the distance must be sure.
    found = distance_target(20_000.0, Figure(22_000.0, surely_m, 24_000.0), Figure(30.0))
    assert found.cue == cue
    assert found.wh_per_km == pytest.approx(30.0 * surely_m / 20_000.0)
    assert found.difference_fraction == pytest.approx(difference, abs=1e-4)


def test_the_cue_never_pushes() -> None:
    # Far more than needed: going faster is the rider's choice, not the distance's.
    assert distance_target(2_000.0, Figure(22_000.0, 19e3, 24e3), Figure(30.0)).cue == "hold"


def test_no_energy_left_cues_ease_and_no_distance_left_cues_nothing() -> None:
    assert distance_target(2000.0, Figure(900.0, 0.0, 2e3), Figure(30.0)).cue == "ease"
    assert isinstance(distance_target(0.0, Figure(600.0), Figure(30.0)).cue, Unknown)
    assert isinstance(distance_target(9.0, Unknown(Reason.NOT_HEARD), Figure(30.0)).cue, Unknown)
    assert isinstance(distance_target(9.0, Figure(600.0), Unknown(Reason.NOT_HEARD)).cue, Unknown)
