"""Units against the constants of scipy, which cites CODATA and the definitions of the units."""

import re

import pytest
import scipy.constants

from groundside.words.units import CHOICES, next_units, units_named
from onboard.efficiency.trip.speed_bands import WIDTHS_MPS
from onboard.errors import UsageError
from onboard.profile import ProfileError, parse_profile

# scipy.constants: nautical_mile, mile, knot, mph, kmh ("Units" in its documentation)
SPEEDS_MPS = {
    "km/h": scipy.constants.kmh,
    "m/s": 1.0,
    "kn": scipy.constants.knot,
    "mph": scipy.constants.mph,
}
DISTANCES_M = {
    "km": 1000.0,
    "NM": scipy.constants.nautical_mile,
    "mi": scipy.constants.mile,
}


@pytest.mark.parametrize("name", CHOICES)
def test_one_unit_equals_scipy_s(name: str) -> None:
    units = CHOICES[name]
    assert units.speed(SPEEDS_MPS[name]) == pytest.approx(1.0, rel=1e-15)
    assert units.distance(DISTANCES_M[units.distance_name]) == pytest.approx(1.0, rel=1e-15)


@pytest.mark.parametrize("name", CHOICES)
def test_consumption_times_distance_is_the_same_energy_in_all_units(name: str) -> None:
    units = CHOICES[name]
    energy_wh = units.consumption(50.0) * units.distance(12_345.0)
    assert energy_wh == pytest.approx(50.0 * 12.345, rel=1e-14)


def test_the_unit_of_consumption_names_the_distance() -> None:
    names = {units.consumption_name for units in CHOICES.values()}
    assert names == {"Wh/km", "Wh/NM", "Wh/mi"}


def test_next_units_cycles() -> None:
    units = start = CHOICES["km/h"]
    seen = []
    for _ in CHOICES:
        seen.append(units.speed_name)
        units = next_units(units)
    assert seen == ["km/h", "m/s", "kn", "mph"]
    assert units is start


def test_an_unknown_name_lists_the_choices() -> None:
    assert units_named("mph").distance_name == "mi"
    with pytest.raises(UsageError, match="'furlong': expected one of km/h, m/s, kn, mph"):
        units_named("furlong")


def test_the_profile_offers_the_same_sets() -> None:
    for name in CHOICES:
        assert parse_profile(f'[units]\nspeed = "{name}"').units.speed == name
    with pytest.raises(ProfileError) as refused:
        parse_profile('[units]\nspeed = "furlong"')
    assert re.findall('"(.+?)"', str(refused.value)) == list(CHOICES)


def test_every_set_has_a_band_of_speed_that_the_engine_keeps() -> None:
    for units in CHOICES.values():
        width_mps = units.speed_band * units.speed_unit_mps
        assert any(width_mps == pytest.approx(one, rel=1e-12) for one in WIDTHS_MPS)
    assert len(WIDTHS_MPS) == len(CHOICES)
