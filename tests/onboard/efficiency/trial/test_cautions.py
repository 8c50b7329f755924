"""Cautions of power, motor current, voltage and temperature."""

import pytest

from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.trial.cautions import power_cautions, surroundings_cautions
from onboard.efficiency.trial.leg import Leg
from tests.onboard.efficiency.trial.made_legs import made_leg

WOBBLE = (0.004, -0.004, 0.003, -0.003)


def legs(more=lambda name, n: {}, names: str = "aabb", wobble=WOBBLE) -> list[Leg]:
    return [
        made_leg(name, 140.0 * n, **({"power_w": 400.0 * (1.0 + wobble[n % 4])} | more(name, n)))
        for n, name in enumerate(names)
    ]


def codes(some: list[Leg]) -> list[str]:
    return [one.code.code for one in (*power_cautions(some), *surroundings_cautions(some))]


def test_no_caution() -> None:
    assert codes(legs()) == []


@pytest.mark.parametrize(("apart", "expected"), [(1.015, []), (1.05, ["power_not_held"])])
def test_set_ups_at_different_power(apart: float, expected: list[str]) -> None:
    some = legs(lambda name, n: {"power_w": 400.0 * (apart if name == "a" else 1.0)})
    assert codes(some) == expected
    if expected:
        (one,) = power_cautions(some)
        assert one.values["setups"] == ("a", "b")
        assert one.values["powers_w"] == pytest.approx((420.0, 400.0), abs=0.1)
        assert one.values["run_to_run_fraction"] is one.values["within_run_fraction"] is None
        assert one.values["held"] == "not_known"


def test_each_set_up_is_named_once_with_its_power() -> None:
    watts = {"a": 400.0, "b": 430.0, "c": 370.0}
    some = legs(lambda name, n: {"power_w": watts[name]}, "aabbcc")
    (one,) = power_cautions(some)
    assert one.values["setups"] == ("a", "b", "c")
    assert one.values["powers_w"] == pytest.approx((400.0, 430.0, 370.0))
    # A set-up run at the power of another is among those that differ from the third.
    watts["c"] = 400.0
    (one,) = power_cautions(legs(lambda name, n: {"power_w": watts[name]}, "aabbcc"))
    assert one.values["setups"] == ("a", "b", "c")
    assert one.values["powers_w"] == pytest.approx((400.0, 430.0, 400.0))


@pytest.mark.parametrize("known_by", ["a", "b", "ab"])
def test_a_motor_current_must_be_known_of_every_set_up(known_by: str) -> None:
    # The power differs and the known currents are equal: that is informative only if the current is
    # known for both set-ups.
    def some(name: str, n: int) -> dict:
        return {
            "power_w": (361.0 if name == "a" else 407.0) * (1.06 if n % 2 else 0.94),
            "motor_amps_a": 30.0 if name in known_by else float("nan"),
        }

    held = ["motor_current_held"] if known_by == "ab" else []
    assert codes(legs(some)) == ["power_not_held", *held]


def test_power_that_differed_by_chance() -> None:
    wobble = (0.025, 0.005, -0.025, 0.015)
    assert codes(legs(wobble=wobble)) == []


@pytest.mark.parametrize(
    "more",
    [
        {"power_drift_fraction": -0.08},
        {"power_swing_fraction": 0.08},
    ],
)
def test_power_that_changed_within_a_run(more: dict) -> None:
    (one,) = power_cautions(legs(lambda name, n: more))
    assert one.code is CautionCode.POWER_NOT_HELD
    assert one.values["within_run_fraction"] == pytest.approx(0.08)
    assert (one.values["setups"], one.values["run_to_run_fraction"]) == ((), None)
    assert codes(legs(lambda name, n: {key: value / 2.0 for key, value in more.items()})) == []


def test_power_that_changed_from_run_to_run() -> None:
    (one,) = power_cautions(legs(wobble=(0.06, -0.06, 0.05, -0.05)))
    assert one.code is CautionCode.POWER_NOT_HELD
    # Of two and two: the logarithms differ by 0.12 and 0.1, each with one degree of freedom.
    assert one.values["run_to_run_fraction"] == pytest.approx(0.0781, abs=2e-4)
    assert one.values["within_run_fraction"] is None


def test_a_held_motor_current() -> None:
    def held(name: str, n: int) -> dict:
        return {"power_w": 361.0 if name == "a" else 407.0, "motor_amps_a": 30.0 + 0.01 * (n % 2)}

    # 30 A with both propellers is 361 W and 407 W (computed apart, see test_power_split).
    both = power_cautions(legs(held))
    assert [one.code for one in both] == [
        CautionCode.POWER_NOT_HELD,
        CautionCode.MOTOR_CURRENT_HELD,
    ]
    assert both[1].values["motor_amps_a"] == pytest.approx(30.005, abs=1e-3)
    assert both[0].values["held"] == "motor_current"


def test_a_motor_current_that_varies_with_power_was_not_held() -> None:
    def power_held(name: str, n: int) -> dict:
        return {"power_w": 430.0 if name == "a" else 400.0,
                "motor_amps_a": 32.0 if name == "a" else 29.7}  # fmt: skip

    (one,) = power_cautions(legs(power_held))
    assert one.code is CautionCode.POWER_NOT_HELD
    # The current is known, and was not held either.
    assert one.values["held"] is None


def test_equal_currents_by_chance_are_not_held() -> None:
    # Equal propellers, power held by hand: the current scatters like the power.
    wobble = (0.05, -0.05, 0.04, -0.04)
    some = legs(lambda name, n: {"motor_amps_a": 30.0 * (1.0 + 0.8 * wobble[n])}, wobble=wobble)
    assert codes(some) == ["power_not_held"]


def test_power_that_varies_with_the_motor_s_current_is_not_a_held_current() -> None:
    swing = {"power_swing_fraction": 0.08, "motor_amps_a": 30.0}
    assert codes(legs(lambda name, n: swing)) == ["power_not_held"]


@pytest.mark.parametrize(
    ("key", "values", "expected"),
    [
        (
            "volts_v",
            (25.0, 24.6, 24.3),
            Caution(
                CautionCode.VOLTAGE_DIFFERS,
                setup="a", voltage_v=25.0, other="b", other_voltage_v=pytest.approx(24.3),
            ),
        ),
        (
            "pack_degc",
            (20.0, 24.0, 27.0),
            Caution(
                CautionCode.TEMPERATURE_DIFFERS,
                **{"pack_setup": "b", "pack_degc": 27.0},
                **{"pack_other": "a", "pack_other_degc": 20.0},
                **dict.fromkeys(("drive_setup", "drive_degc", "drive_other", "drive_other_degc")),
            ),
        ),
        (
            "drive_degc",
            (40.0, 48.0, 55.0),
            Caution(
                CautionCode.TEMPERATURE_DIFFERS,
                **dict.fromkeys(("pack_setup", "pack_degc", "pack_other", "pack_other_degc")),
                **{"drive_setup": "b", "drive_degc": 55.0},
                **{"drive_other": "a", "drive_other_degc": 40.0},
            ),
        ),
    ],
)  # fmt: skip
def test_surroundings(key: str, values: tuple[float, ...], expected: Caution) -> None:
    a, near, far = values
    assert codes(legs(lambda name, n: {key: a if name == "a" else near})) == []
    (one,) = surroundings_cautions(legs(lambda name, n: {key: a if name == "a" else far}))
    assert one == expected


def test_values_unknown_for_one_set_up_are_not_compared() -> None:
    assert codes(legs(lambda name, n: {"pack_degc": 20.0} if name == "a" else {})) == []


def test_runs_of_all_set_ups_are_tested() -> None:
    some = legs(lambda name, n: {"volts_v": {"a": 25.0, "b": 25.0, "c": 23.0}[name]}, "aabbcc")
    (one,) = surroundings_cautions(some)
    assert (one.values["other"], one.values["other_voltage_v"]) == ("c", 23.0)
