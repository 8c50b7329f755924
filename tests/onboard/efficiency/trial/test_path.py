"""Rounds of a path: length, area, turning, thinness, power, gaps."""

import math

import numpy as np
import pytest

from onboard.efficiency.trial.path import Path, Places
from onboard.efficiency.trial.seconds import Seconds
from tests.onboard.efficiency.trial.made_legs import made_seconds


def whole(path: Path) -> tuple[Places, Places]:
    return np.array([0]), np.array([len(path.seconds)])


def stadium(ratio: float, width_m: float = 20.0, speed_mps: float = 2.0) -> Seconds:
    """Return an oval with straights of `ratio` times its width."""
    straight = np.zeros(round(ratio * width_m / speed_mps))
    bend = np.linspace(0.0, math.pi, round(math.pi * width_m / 2.0 / speed_mps), endpoint=False)
    course = np.concatenate([straight, bend, straight + math.pi, bend + math.pi])
    return made_seconds(speed_mps * np.sin(course), speed_mps * np.cos(course))


def test_a_circle() -> None:
    course = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    for sense in (1.0, -1.0):
        path = Path(made_seconds(2.0 * np.sin(sense * course), 2.0 * np.cos(sense * course)))
        ends = whole(path)
        assert path.length_m(*ends) == pytest.approx(400.0)
        assert path.lasts_s(*ends) == pytest.approx(200.0)
        assert path.gap_m(*ends) == pytest.approx(0.0, abs=1e-9)
        assert path.area_m2(*ends) == pytest.approx(sense * 400.0**2 / (4.0 * np.pi), rel=1e-3)
        assert path.turned(*ends) == pytest.approx(sense * 2.0 * np.pi, abs=0.1)
        assert not path.is_thin(*ends)[0]


def test_a_part_of_a_circle_is_closed_by_its_chord() -> None:
    course = np.linspace(0.0, np.pi, 100, endpoint=False)
    path = Path(made_seconds(2.0 * np.sin(course), 2.0 * np.cos(course)))
    radius_m = 200.0 / np.pi
    ends = whole(path)
    assert path.area_m2(*ends) == pytest.approx(np.pi * radius_m**2 / 2.0, rel=1e-3)
    assert path.gap_m(*ends) == pytest.approx(2.0 * radius_m, rel=1e-3)


def test_the_area_does_not_depend_on_where_the_path_lies() -> None:
    course = np.concatenate([np.zeros(300), np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)])
    path = Path(made_seconds(2.0 * np.sin(course), 2.0 * np.cos(course)))
    ends = np.array([300]), np.array([500])
    assert path.area_m2(*ends) == pytest.approx(400.0**2 / (4.0 * np.pi), rel=1e-3)
    half = np.array([300]), np.array([400])
    assert path.area_m2(*half) == pytest.approx(400.0**2 / (8.0 * np.pi), rel=2e-2)


# Enclosed area (ratio + pi / 4) w^2, half the length (ratio + pi / 2) w.
@pytest.mark.parametrize(("ratio", "is_line"), [(2.0, False), (6.0, False), (8.0, True)])
def test_an_oval_and_a_there_and_back(ratio: float, is_line: bool) -> None:
    path = Path(stadium(ratio))
    ends = whole(path)
    half_m = path.length_m(*ends)[0] / 2.0
    expected = (ratio + math.pi / 4.0) / (ratio + math.pi / 2.0) ** 2
    assert path.area_m2(*ends)[0] / half_m**2 == pytest.approx(expected, rel=0.03)
    assert path.is_line(*ends)[0] == is_line


def test_a_thin_course_of_bends_is_no_line() -> None:
    share = np.linspace(0.0, 2.0 * np.pi, 400)
    bends = 1.2 * np.sin(8.0 * share)
    course = np.concatenate([bends, np.linspace(0.0, np.pi, 20), np.pi + bends])
    path = Path(made_seconds(2.0 * np.sin(course), 2.0 * np.cos(course)))
    ends = whole(path)
    assert path.is_thin(*ends)[0]
    assert not path.is_line(*ends)[0]


def test_power_about_its_mean() -> None:
    power = np.where(np.arange(400) // 100 % 2, 480.0, 320.0)
    path = Path(made_seconds(np.full(400, 2.0), power_w=power))
    assert path.swing(*whole(path))[0] == pytest.approx(0.2, abs=0.01)
    ripple = Path(made_seconds(np.full(400, 2.0), power_w=np.where(np.arange(400) % 2, 440, 360)))
    assert ripple.swing(*whole(ripple))[0] < 0.02


def test_where_power_changes() -> None:
    power = np.full(200, 400.0)
    power[100:] = 200.0
    changes = Path(made_seconds(np.full(200, 2.0), power_w=power)).changes
    assert changes[98:102].all()
    assert not changes[:88].any()
    assert not changes[112:].any()
    slip = np.full(200, 400.0)
    slip[100:104] = 0.0
    changes = Path(made_seconds(np.full(200, 2.0), power_w=slip)).changes
    assert changes[101:103].all()
    small = np.where(np.arange(200) < 100, 400.0, 300.0)
    assert not Path(made_seconds(np.full(200, 2.0), power_w=small)).changes.any()


def test_a_gap_is_bridged_and_known_as_one() -> None:
    t_s = np.concatenate([np.arange(1.0, 101.0), np.arange(111.0, 211.0)])
    path = Path(made_seconds(np.full(200, 2.0), t_s=t_s))
    ends = whole(path)
    assert path.lasts_s(*ends) == pytest.approx(210.0)
    assert path.length_m(*ends) == pytest.approx(420.0)
    assert not path.is_known(*ends)[0]
    assert path.is_known(np.array([0]), np.array([100]))[0]
