"""The cue by consumption, for a distance to go."""

import pytest

from groundside.studies.consumption_cue import distance_target
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason


@pytest.mark.parametrize(
    ("recent", "cue", "difference"),
    [
        # 600 Wh over 20 km: 30 Wh/km make it.
        (30.0, "hold", 0.0),
        (30.4, "ease", 0.01333),
        (36.0, "ease", 0.2),
        (28.0, "hold", -0.06667),
        (26.9, "push", -0.10333),
    ],
)
def test_the_cue_by_consumption(recent: float, cue: str, difference: float) -> None:
    found = distance_target(20_000.0, Figure(600.0), Figure(recent))
    assert (found.cue, found.wh_per_km) == (cue, pytest.approx(30.0))
    assert found.difference_fraction == pytest.approx(difference, abs=1e-4)


def test_no_energy_left_cues_ease_and_no_distance_left_cues_nothing() -> None:
    assert distance_target(2000.0, Figure(0.0), Figure(30.0)).cue == "ease"
    assert isinstance(distance_target(0.0, Figure(600.0), Figure(30.0)).cue, Unknown)
    assert isinstance(distance_target(9.0, Unknown(Reason.NOT_HEARD), Figure(30.0)).cue, Unknown)
    assert isinstance(distance_target(9.0, Figure(600.0), Unknown(Reason.NOT_HEARD)).cue, Unknown)
