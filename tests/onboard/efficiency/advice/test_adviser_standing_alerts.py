"""A standing alert has the present figure's value; its event has that of its onset."""

import pytest

from onboard.contract.alerts import Alert
from onboard.contract.snapshot import Figures
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile
from tests.onboard.efficiency.advice.test_adviser import PACK, learned, ride

pytestmark = pytest.mark.slow

SMALL = Battery("li-ion", 14, 4.0, resistance_ohm=0.02, reserve_fraction=0.2)


def alert(figures: Figures, code: str) -> Alert | None:
    return next((one for one in figures.alerts if one.code == code), None)


def test_the_energy_alert_follows_the_figure() -> None:
    engine = Engine(Profile(battery=SMALL), learned())
    at_s, place, seen = 0.0, (0.0, 0.0), []
    for _ in range(45):
        block, at_s, end = ride([(90, 2.4, 30), (270, 2.4, 30)], at_s, place)
        place = tuple(end.tolist())
        engine.fold(block)
        figures = engine.figures()
        low = alert(figures, "energy_low")
        if low is not None:
            assert low.values["left_wh"] == figures.battery.left_wh.value
            seen.append(low.values["left_wh"])
    assert len(seen) > 2
    assert seen == sorted(seen, reverse=True)
    (came,) = [event for event in engine.events if event.alert.code == "energy_low"]
    assert came.alert.values["left_wh"] > seen[0] > seen[-1]


def test_the_distance_alert_follows_the_figure() -> None:
    engine = Engine(Profile(battery=PACK), learned())
    engine.set_aim(Aim(distance_m=400_000.0))
    at_s, place, seen = 0.0, (0.0, 0.0), []
    for _ in range(4):
        block, at_s, end = ride([(90, 2.4, 300)], at_s, place)
        place = tuple(end.tolist())
        engine.fold(block)
        figures = engine.figures()
        beyond = alert(figures, "cannot_be_made")
        assert beyond is not None
        assert beyond.values == figures.target.reason.values
        seen.append(beyond.values["best_m"])
    assert len(set(seen)) == 4
    (came,) = [event for event in engine.events if event.alert.code == "cannot_be_made"]
    assert came.alert.values["best_m"] not in seen


def test_a_stated_charge_changes_figure_and_alert_at_once() -> None:
    engine = Engine(Profile(battery=PACK), learned())
    engine.set_aim(Aim(distance_m=400_000.0))
    engine.fold(ride([(90, 2.4, 1200)])[0])
    before = alert(engine.figures(), "cannot_be_made")
    engine.charged(("left_fraction", 1.0))
    figures = engine.figures()
    after = alert(figures, "cannot_be_made")
    assert before is not None
    assert after is not None
    assert after.values == figures.target.reason.values != before.values


def test_an_alert_does_not_contradict_the_figures_beside_it() -> None:
    # 'Cannot be made' stayed for 20 s beside a target that could be.
    engine = Engine(Profile(battery=PACK), learned())
    engine.set_aim(Aim(distance_m=400_000.0))
    engine.fold(ride([(90, 2.4, 300)])[0])
    shown = engine.figures()
    assert alert(shown, "cannot_be_made") is not None
    engine.adviser.set_aim(Aim(distance_m=2_000.0))
    figures = engine.figures()
    assert figures.target.cue == "hold"
    assert alert(figures, "cannot_be_made") is None


def test_an_alert_ends_with_its_target() -> None:
    engine = Engine(Profile(battery=PACK), learned())
    engine.set_aim(Aim(distance_m=400_000.0))
    engine.fold(ride([(90, 2.4, 300)])[0])
    assert alert(engine.figures(), "cannot_be_made") is not None
    engine.set_aim(Aim())
    assert alert(engine.figures(), "cannot_be_made") is None
