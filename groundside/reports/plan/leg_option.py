"""The option `--leg`: one leg of the way ahead as text, every value with its unit."""

import argparse
import re
from collections.abc import Mapping

from groundside.studies.leg import Leg
from groundside.words.units import CHOICES

METRES = {"m": 1.0, **{units.distance_name: units.distance_unit_m for units in CHOICES.values()}}
METRES_PER_SECOND = {units.speed_name: units.speed_unit_mps for units in CHOICES.values()}

WATER, WIND = "head-current", "headwind"
EXAMPLE = f"3km,{WATER}=0.4m/s,{WIND}=5m/s"
LONGEST_M, FASTEST_MPS = 1e6, {WATER: 20.0, WIND: 40.0}
VALUE = re.compile(r"([+-]?\d{1,9}(?:\.\d{0,9})?) ?([A-Za-z/]+)")


def leg_of(text: str) -> Leg:
    """Return the leg that a text describes.

    Raises
    ------
    argparse.ArgumentTypeError
        If it describes none.

    Examples
    --------
    >>> leg_of("3km,head-current=-0.4m/s,headwind=18km/h")
    Leg(distance_m=3000.0, head_current_mps=-0.4, headwind_mps=5.0)
    """
    length, *rest = text.split(",")
    distance_m = _value(text, length, METRES)
    stated: dict[str, float] = {}
    for part in rest:
        name, _, value = part.partition("=")
        if name.strip() not in FASTEST_MPS or name.strip() in stated:
            raise _wrong(text, f"{name.strip()!r}")
        stated[name.strip()] = _value(text, value, METRES_PER_SECOND)
    if not 1.0 <= distance_m <= LONGEST_M:
        raise _wrong(text, f"a length of {length}")
    for name, speed_mps in stated.items():
        if abs(speed_mps) > FASTEST_MPS[name]:
            raise _wrong(text, f"a {name} of more than {FASTEST_MPS[name]:g} m/s")
    return Leg(distance_m, stated.get(WATER), stated.get(WIND))


def _value(whole: str, text: str, units: Mapping[str, float]) -> float:
    found = VALUE.fullmatch(text.strip())
    if found is None or found[2] not in units:
        raise _wrong(
            whole, f"{text.strip()!r}, where a number with one of {', '.join(units)} is due"
        )
    return float(found[1]) * units[found[2]]


def _wrong(whole: str, what: str) -> argparse.ArgumentTypeError:
    return argparse.ArgumentTypeError(f"{whole[:60]}: {what}: expected the like of {EXAMPLE}")
