"""The option `--leg`: what it reads, and what it refuses."""

import argparse
import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.reports.plan.leg_option import EXAMPLE, leg_of
from groundside.studies.leg import Leg


@pytest.mark.parametrize(
    ("text", "leg"),
    [
        ("800m", Leg(800.0)),
        ("3km", Leg(3000.0)),
        ("0.5NM", Leg(926.0)),
        ("1 mi", Leg(1609.344)),
        ("3km,head-current=0.4m/s", Leg(3000.0, 0.4)),
        ("3km, headwind = -18 km/h", Leg(3000.0, None, -5.0)),
        ("3km,headwind=0m/s,head-current=-1kn", Leg(3000.0, -1852.0 / 3600.0, 0.0)),
        (EXAMPLE, Leg(3000.0, 0.4, 5.0)),
    ],
)
def test_a_leg_with_its_units(text: str, leg: Leg) -> None:
    found = leg_of(text)
    assert found.distance_m == pytest.approx(leg.distance_m)
    for one, other in (
        (found.head_current_mps, leg.head_current_mps),
        (found.headwind_mps, leg.headwind_mps),
    ):
        assert one == (None if other is None else pytest.approx(other))


@pytest.mark.parametrize(
    "text",
    [
        "", "3", "km", "3 miles", "3km/h", "-3km", "0m", "2000km", "1e3m", "nankm",
        "3km,0.4m/s", "3km,head-current=0.4", "3km,head-current=0.4km", "3km,wind=4m/s",
        "3km,headwind=4m/s,headwind=5m/s", "3km,head-current=21m/s", "3km,headwind=-41m/s", "3km,",
        "9" * 400 + "km",
    ],
)  # fmt: skip
def test_what_is_no_leg_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match=r"3km,head-current=0\.4m/s") as refused:
        leg_of(text)
    assert len(str(refused.value)) < 1000


@given(st.text(max_size=60))
def test_any_text_is_a_leg_or_refused(text: str) -> None:
    with contextlib.suppress(argparse.ArgumentTypeError):
        assert leg_of(text).distance_m >= 1.0
