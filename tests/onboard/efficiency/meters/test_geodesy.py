"""Offsets between two places, against lines made with GeographicLib and certified ones."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from onboard.efficiency.meters.geodesy import local_offset_m

DATA = Path(__file__).parents[3] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def length_and_course(*ends: float) -> tuple[float, float]:
    """Return the length [m] and course [deg, from north by east] of a line."""
    east, north = (float(part) for part in local_offset_m(*ends))
    return math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360.0


def turned_deg(one: float, other: float) -> float:
    return abs((one - other + 180.0) % 360.0 - 180.0)


def middle_course(line: dict[str, float]) -> float:
    """Return a geodesic's mean course [deg]: it turns along the way, unlike that of a plane."""
    turn = (line["azi2"] - line["azi1"] + 180.0) % 360.0 - 180.0
    return (line["azi1"] + turn / 2) % 360.0


@pytest.mark.parametrize("line", rows("geodesic_short_lines.csv"))
def test_short_lines(line: dict[str, str]) -> None:
    # geodesic_short_lines.csv: made with geographiclib 2.1, Direct, 0.2 m to 10 km, six latitudes.
    length = float(line["s12_m"])
    ends = [float(line[key]) for key in ("lat1", "lon1", "lat2", "lon2")]
    tolerance = 1e-4 if length <= 1000 else 1e-6 * length
    assert length_and_course(*ends)[0] == pytest.approx(length, abs=tolerance)


@pytest.mark.parametrize("line", rows("geodesic_published.csv"))
def test_the_reference_itself_meets_published_lines(line: dict[str, str]) -> None:
    # Certified lines shipped with GeographicLib's tests, and Geoscience Australia's Flinders Peak
    # to Buninyong: the reference for the tests below is right.
    found = Geodesic.WGS84.Inverse(*(float(line[k]) for k in ("lat1", "lon1", "lat2", "lon2")))
    length = float(line["s12_m"])
    relative = 1e-5 if line["id"] == "FP-BU" else 1e-12
    assert found["s12"] == pytest.approx(length, rel=relative, abs=2e-3)


def test_flinders_peak_to_buninyong_is_near_even_for_the_short_formula() -> None:
    # Geoscience Australia's test line: 54 972.271 m; forward azimuth 306 deg 52' 05.37", reverse
    # 127 deg 10' 25.07", so that it ends on 307 deg 10' 25.07".
    ends = (-37.951033417, 144.424867889, -37.652821139, 143.926495528)
    length, course = length_and_course(*ends)
    assert length == pytest.approx(54_972.271, rel=1e-5)
    assert 306.868 < course < 307.174


def test_random_legs_against_geographiclib() -> None:
    rng = np.random.default_rng(11)
    for _ in range(200):
        lat, lon = rng.uniform(-70, 70), rng.uniform(-180, 180)
        end = Geodesic.WGS84.Direct(lat, lon, rng.uniform(0, 360), rng.uniform(1, 10_000))
        length, course = length_and_course(lat, lon, end["lat2"], end["lon2"])
        assert length == pytest.approx(end["s12"], rel=1e-6)
        assert turned_deg(course, middle_course(end)) < 1e-3


@pytest.mark.parametrize(
    ("to_lat", "to_lon", "course"),
    [(10.001, 20.0, 0.0), (10.0, 20.001, 90.0), (9.999, 20.0, 180.0), (10.0, 19.999, 270.0)],
)
def test_the_four_cardinal_directions(to_lat: float, to_lon: float, course: float) -> None:
    length, found = length_and_course(10.0, 20.0, to_lat, to_lon)
    assert 109.0 < length < 111.0
    assert turned_deg(found, course) < 1e-3


def test_across_the_date_line() -> None:
    length, course = length_and_course(10.0, 179.9999, 10.0, -179.9999)
    assert length == pytest.approx(21.93, abs=0.01)
    assert course == pytest.approx(90.0, abs=1e-6)
