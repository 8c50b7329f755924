"""How the ride compares with the target, in words: on either side of it, and on it."""

from dataclasses import replace

import pytest

from groundside.words.stands import stand_text
from groundside.words.units import CHOICES
from onboard.contract.advice import Stand, Standing
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.made_snapshot import TARGET

KMH, KNOTS = CHOICES["km/h"], CHOICES["kn"]


@pytest.mark.parametrize(
    ("standing", "difference", "expected"),
    [
        (Standing.AGAINST_SPEED, 0.31, "31 % above the target speed."),
        (Standing.AGAINST_SPEED, -0.31, "31 % below the target speed."),
        (Standing.AGAINST_POWER, 0.004, "At the target power."),
        (Standing.AGAINST_POWER, -0.004, "At the target power."),
        (Standing.AGAINST_ADVISED, -0.05, "5 % below the speed that makes the distance."),
        (Standing.AGAINST_CONSUMPTION, 0.25, "Using 25 % more than budgeted."),
        (Standing.AGAINST_CONSUMPTION, -0.25, "Using 25 % less than budgeted."),
    ],
)
def test_a_difference(standing: Standing, difference: float, expected: str) -> None:
    target = replace(TARGET, reason=Stand(standing, difference_fraction=difference))
    assert stand_text(target, KMH) == expected


@pytest.mark.parametrize(
    ("standing", "expected"),
    [
        (Standing.AGAINST_SPEED, "-- from the target speed."),
        (Standing.AGAINST_ADVISED, "-- from the speed that makes the distance."),
        (Standing.AGAINST_CONSUMPTION, "-- from the budget."),
    ],
)
def test_a_difference_that_did_not_come(standing: Standing, expected: str) -> None:
    target = replace(TARGET, reason=Stand(standing, difference_fraction=None))
    assert stand_text(target, KMH) == expected


def test_the_distance_at_best_speed_is_in_the_readers_units() -> None:
    # By hand: 9260 m = 5.0 NM; 2.572 m/s = 5.0 kn = 9.3 km/h.
    beyond = Stand(Standing.CANNOT_BE_MADE, to_go_m=18_520.0, best_m=9_260.0, best_speed_mps=2.572)
    target = replace(TARGET, reason=beyond)
    assert (
        stand_text(target, KNOTS)
        == "Target, 10.0 NM to go: in doubt at any speed tried. 5.0 NM is sure, at 5.0 kn."
    )
    assert (
        stand_text(target, KMH)
        == "Target, 18.5 km to go: in doubt at any speed tried. 9.3 km is sure, at 9.3 km/h."
    )


def test_without_a_cue_there_is_its_reason() -> None:
    none = Unknown(Reason.NOT_KNOWN_LATELY)
    target = replace(TARGET, cue=none, reason=Stand(Standing.NO_CUE))
    assert stand_text(target, KMH) == "No cue: too few readings in the last few seconds."
