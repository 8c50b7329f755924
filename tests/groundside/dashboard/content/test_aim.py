"""Content of the aim view, and the target being chosen."""

from typing import Any

import pytest

from groundside.dashboard.content.aim import NOBODY, PURPOSE, aim_content
from groundside.dashboard.target_choice import (
    DISTANCE,
    POWER,
    SPEED,
    TargetChoice,
    TargetKind,
    now_value,
    value_in_force,
)
from groundside.words.units import CHOICES
from onboard.contract.advice import Stand, Standing
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import TO_GO, snapshot, state
from tests.made_snapshot import HOME, TARGET, changed

KMH, KN = CHOICES["km/h"], CHOICES["kn"]
NONE = Unknown(Reason.NO_TARGET)
SPEED_ALONE = changed(TARGET, distance_m=NONE, power_w=NONE)


def choice(kind: TargetKind, value: float | None = None) -> TargetChoice:
    chosen = TargetChoice()
    chosen.kind = kind
    if value is not None:
        chosen.values[kind.key] = value
    return chosen


@pytest.mark.parametrize(
    ("kind", "changes", "value"),
    [
        (SPEED, {}, 2.21),
        (SPEED, {"speed_mps": 0.0}, None),
        (SPEED, {"speed_mps": NONE}, None),
        (POWER, {}, 412.0),
        (DISTANCE, {}, None),
        (DISTANCE, {"home": HOME}, 760.0),
    ],
)
def test_the_present_value(kind: TargetKind, changes: dict[str, Any], value: float | None) -> None:
    assert now_value(kind, snapshot(**changes)) == value


@pytest.mark.parametrize(
    ("kind", "target", "value"),
    [
        (SPEED, SPEED_ALONE, 2.0),
        # with a distance to make, a speed to hold is derived; only the distance is the target
        (SPEED, changed(TARGET, power_w=NONE), None),
        (DISTANCE, TARGET, 5200.0),
        (DISTANCE, SPEED_ALONE, None),
        (POWER, TARGET, 320.0),
        (POWER, SPEED_ALONE, None),
        (POWER, NONE, None),
    ],
)
def test_the_value_in_force(kind: TargetKind, target: Any, value: float | None) -> None:
    assert value_in_force(kind, snapshot(target=target)) == value


@pytest.mark.parametrize(
    ("kind", "changes", "units", "text"),
    [
        (SPEED, {}, KMH, "8.0"),
        (SPEED, {}, KN, "4.3"),
        (SPEED, {"target": SPEED_ALONE}, KMH, "7.2"),
        (SPEED, {"speed_mps": NONE}, KN, "6.0"),
        (POWER, {}, KMH, "410"),
        (POWER, {"target": TARGET}, KMH, "320"),
        (DISTANCE, {}, KMH, "5.0"),
        (DISTANCE, {"home": HOME}, KMH, "1.0"),
        (DISTANCE, {"target": TARGET}, KN, "3.0"),
    ],
)
def test_the_proposed_value(
    kind: TargetKind, changes: dict[str, Any], units: Any, text: str
) -> None:
    chosen = choice(kind)
    chosen.propose(snapshot(**changes), units)
    assert chosen.value is not None
    assert kind.text(chosen.value, units) == text
    before = chosen.value
    chosen.propose(snapshot(speed_mps=3.0, power_w=99.0), units)  # it is not proposed twice
    assert chosen.value == before


def test_steps_are_in_the_riders_units_and_within_limits() -> None:
    chosen = choice(SPEED, 2.0)
    chosen.step(1.0, KN)
    assert chosen.value == pytest.approx(4.9 * 1852.0 / 3600.0)  # 3.9 kn and one more
    chosen.step(-99.0, KN)
    assert chosen.value == pytest.approx(0.2 * 1852.0 / 3600.0)  # 0.1 m/s are 0.194 kn
    chosen = choice(DISTANCE, 4000.0)
    chosen.step(-5.0, KMH)
    assert chosen.value == 500.0
    assert not choice(DISTANCE).as_now(snapshot(), KMH)
    assert choice(POWER).as_now(snapshot(), KMH)
    chosen.clear()
    assert chosen.value is None
    chosen.step(1.0, KMH)
    assert chosen.value is None


@pytest.mark.parametrize(
    ("target", "value", "can_command", "shown"),
    [
        (TARGET, 320.0, True, ("320", "in force")),
        (TARGET, 330.0, True, ("330", "not set")),
        (NONE, 330.0, True, ("330", "not set")),
        (TARGET, 330.0, False, ("320", "in force")),
        (NONE, 330.0, False, (None, "none")),
    ],
)
def test_the_big_value(
    target: Any, value: float, can_command: bool, shown: tuple[str | None, str]
) -> None:
    here = state(snapshot(target=target), can_command=can_command)
    content = aim_content(here, choice(POWER, value))
    assert (content.value.digits, content.value.interval) == shown
    assert content.value.why == ("" if shown[0] else "no target")
    purpose = content.blocks[0][-1]
    assert purpose.text == (PURPOSE[POWER.key] if can_command else NOBODY)


@pytest.mark.parametrize(
    ("target", "more", "expected"),
    [
        (NONE, {}, [("now", "no target in force")]),
        (
            TARGET,
            {},
            [
                ("now", "power 320 W, distance 5.2 km"),
                ("cue", "ease: 9 % over budget: hold 320 W"),
                ("chance", "87 % to make it at this speed"),
                ("why", "Using 9 % more than budgeted."),
            ],
        ),
        (
            changed(SPEED_ALONE, confidence_fraction=NONE),
            {"units": KN},
            [
                ("now", "speed 3.9 kn"),
                ("cue", "ease: 9 % over budget: hold 3.9 kn"),
                ("why", "Using 9 % more than budgeted."),
            ],
        ),
        (
            changed(TO_GO, cue=Unknown(Reason.NO_CURVE), reason=Stand(Standing.NO_CUE)),
            {},
            [
                ("now", "distance 5.2 km"),
                ("cue", "none: no curve yet"),
                ("why", "No cue: no curve yet."),
            ],
        ),
        (
            changed(SPEED_ALONE, difference_fraction=NONE, confidence_fraction=NONE),
            {},
            [
                ("now", "speed 7.2 km/h"),
                ("cue", "ease: hold 7.2 km/h"),
                ("why", "Using 9 % more than budgeted."),
            ],
        ),
        (
            TARGET,
            {"since_received_s": 3.0},
            [("now", "power 320 W, distance 5.2 km"), ("cue", "none: the data are stale")],
        ),
    ],
)
def test_the_target_in_force_is_shown(
    target: Any, more: dict[str, Any], expected: list[tuple[str, str]]
) -> None:
    content = aim_content(state(snapshot(target=target), **more), choice(POWER))
    assert [(item.name, item.text) for item in content.blocks[0][:-1]] == expected
