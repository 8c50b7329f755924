"""What to ride next: the order that tells most, after what the cautions name."""

from dataclasses import replace

import pytest

from groundside.reports.compare.next_text import next_text
from onboard.contract.figure import Figure, Unknown
from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison, NextRuns, Place
from tests.onboard.efficiency.trial.made_legs import Runs, made_lap

SLOPE = CurveSlope(0.28, 0.08, False)
VOLTS = Caution(
    CautionCode.VOLTAGE_DIFFERS, setup="a", voltage_v=26.0, other="c", other_voltage_v=24.0
)
ORDER = Caution(CautionCode.ORDER_CONFOUNDED, setups=("a",), others=("b",))


def compared(order: str = "abccba") -> Comparison:
    found = compare(Runs(order).legs(), 400.0, SLOPE, 0.02)
    assert not isinstance(found, Unknown)
    return found


def ahead(*, enough: bool, order: tuple[str, ...] = (), drop=(), rounds: int | None = 0):
    return replace(compared(), next_runs=NextRuns(enough, order, drop, rounds))


@pytest.mark.parametrize(
    ("rounds", "drop", "expected"),
    [
        (3, ("c",), "in this order, then in reverse; about 3 more rounds. Drop c."),
        (1, ("c", "d"), "in this order, then in reverse; about 1 more round. Drop c and d."),
        (None, (), "in this order, then in reverse."),
    ],
)
def test_those_not_told_apart_are_ridden_again_and_the_others_dropped(
    rounds: int | None, drop: tuple[str, ...], expected: str
) -> None:
    found = ahead(enough=False, order=("b", "a"), drop=drop, rounds=rounds)
    assert (
        next_text(found, ()) == f"Next: ride b, a again, there and back each at 400 W, {expected}"
    )


def test_laps_are_ridden_as_laps() -> None:
    legs = [made_lap(name, 300.0 * n, 2.0) for n, name in enumerate("abba")]
    found = compare(legs, 400.0, SLOPE, 0.02)
    assert not isinstance(found, Unknown)
    assert "again, a lap each at 400 W, " in next_text(found, ())


def test_a_name_with_a_comma_is_one_name() -> None:
    found = ahead(enough=False, order=("three blades, cut", "a"), rounds=None)
    assert "ride 'three blades, cut', a again" in next_text(found, ())
    dropped = ahead(enough=False, order=("a", "b"), drop=("c", "three blades, cut"))
    assert next_text(dropped, ()).endswith("Drop c and 'three blades, cut'.")


def test_what_a_caution_names_is_mended_before_anything_is_believed() -> None:
    """Found: with unequal charge, it only said to try another power."""
    told = ahead(enough=True)
    assert next_text(told, (VOLTS,)) == (
        "Next: first mend what the cautions name, then ride a, c again, there and back each at "
        "400 W, by turns."
    )
    more = ahead(enough=False, order=("b", "a"), drop=("c",), rounds=2)
    assert next_text(more, (VOLTS,)) == (
        "Next: first mend what the cautions name, then ride b, a again, there and back each at "
        "400 W, in this order, then in reverse; about 2 more rounds."
    )


def test_to_ride_by_turns_is_itself_what_mends_the_order() -> None:
    told = ahead(enough=True)
    assert next_text(told, (ORDER,)) == (
        "Next: ride a, b again, there and back each at 400 W, by turns."
    )


def test_cautions_that_were_allowed_for_ask_for_nothing() -> None:
    water = Caution(CautionCode.CURRENT_CHANGED, change_mps=0.3, leg_sd_mps=None)
    told = ahead(enough=True)
    assert next_text(told, (water,)) == next_text(told, ())


def placed(*behind: tuple[int, Figure]) -> Comparison:
    places = tuple(Place("abc"[n], group, one, 0.5) for n, (group, one) in enumerate(behind))
    return replace(ahead(enough=True), places=places)


FIRST = (0, Figure(0.0))


def test_enough_names_the_best_or_those_that_are_alike() -> None:
    far = (1, Figure(0.05, 0.03, 0.07))
    assert next_text(placed(FIRST, far, far), ()) == (
        "Next: enough was run. Take a; at another power the ranking may differ."
    )
    near = (0, Figure(0.01, -0.01, 0.029))
    assert next_text(placed(FIRST, near, far), ()) == (
        "Next: enough was run. a and b are alike to within 3 %: take whichever suits you otherwise."
    )
    wide = (0, Figure(0.01, -0.01, 0.031))
    assert "a, b and c are unlikely to differ by 3 %" in next_text(placed(FIRST, near, wide), ())
