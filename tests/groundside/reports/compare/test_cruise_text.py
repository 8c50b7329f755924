"""The set-ups at a cruising speed, as a table."""

from groundside.reports.compare.cruise_range import CruiseRange
from groundside.reports.compare.cruise_text import cruise_lines
from groundside.words.units import CHOICES
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.cruise import Cruise, SetupCruise

FAR = Unknown(Reason.NOT_LEARNED_THERE)
A = SetupCruise("a", Figure(30.0, 27.0, 33.0), Figure(0.0), True, 0.02)
B = SetupCruise("b", Figure(36.0, 32.0, 40.0), Figure(0.2, 0.1, 0.31), False, 0.04)
C = SetupCruise("c", FAR, FAR, False, float("nan"))
RANGES = (Figure(26_667.0, 24_000.0, 29_600.0), Figure(22_222.0, 20_000.0, 25_000.0), FAR)


def lines(*setups: SetupCruise, known: bool = True, units: str = "km/h") -> list[str]:
    ranges = tuple(one if known else Unknown(Reason.NO_BATTERY) for one in RANGES[: len(setups)])
    return list(cruise_lines(CruiseRange(Cruise(2.0, setups), ranges), CHOICES[units]))


def test_consumption_range_and_difference_of_each() -> None:
    found = lines(A, B)
    assert found[0] == "At 7.2 km/h: equal power is the fair test, this is what it brings."
    assert [" ".join(line.split()) for line in found[2:]] == [
        "set-up Wh/km range, km behind the first by",
        "a 30.0 26.7 (24.0 to 29.6) - curve",
        "b 36.0 22.2 (20.0 to 25.0) 20.0 % (10.0 to 31.0) slope",
    ]


def test_the_units_are_the_rider_s() -> None:
    found = " ".join(" ".join(lines(A, B, units="kn")).split())
    # 30 Wh/km x 1.852; 26.667 km / 1.852.
    assert "At 3.9 kn" in found
    assert "a 55.6 14.4 (13.0 to 16.0)" in found


def test_without_a_battery_the_consumption_has_its_interval() -> None:
    found = lines(A, B, known=False)
    assert "a 30.0 27.0 to 33.0 - curve" in " ".join(found[3].split())
    assert found[-1] == "Range unknown: no [battery] in the craft profile."


def test_a_speed_too_far_says_so_and_names_no_power() -> None:
    found = lines(A, B, C)
    said = "c unknown: the curve was not learned at that speed"
    assert " ".join(found[5].split()) == said
    assert len(found) == 6


def test_where_it_is_uncertain_it_says_which_runs_would_tell() -> None:
    wide = SetupCruise("a", Figure(30.0, 20.0, 45.0), Figure(0.0), False, 0.2)
    # 30 Wh/km x 7.2 km/h = 216 W.
    assert "runs at about 216 W would tell it at that speed." in " ".join(
        " ".join(lines(wide, B)).split()
    )
