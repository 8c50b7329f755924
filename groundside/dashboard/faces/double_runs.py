"""What to run next so that each set-up goes there and back: one way alone tells of the water."""

from typing import Any

from groundside.dashboard.faces.setups import PLAIN
from groundside.figures import number, text_of, whole

OPPOSITE_DEG = 150.0
"""Courses further apart than this are there and back. Common practice, no source."""
ALIKE_FRACTION = 0.1
"""Powers closer than this may be one double run. Common practice, no source."""


def next_step(runs: list[dict[str, Any]], setup: str) -> str:
    """Say what to do next with the set-up in force; empty where it has no run that counts yet.

    Parameters
    ----------
    runs
        As of the snapshot, the oldest first.
    setup
        The label in force, empty for none.

    Examples
    --------
    >>> there = {"setup": "A", "power_w": 400, "course_deg": 83, "long_enough": True}
    >>> next_step([there], "A")
    'Next: run A back towards 263°, at about 400 W.'
    >>> next_step([there, there | {"course_deg": 260}], "A")
    'A: 1 double run. Each more tells a smaller difference.'
    """
    mine = [run for run in runs if _counts(run) and text_of(run.get("setup")) == (setup or PLAIN)]
    lone: list[tuple[float, float]] = []
    pairs = 0
    for run in mine:
        course, power = float(run["course_deg"]), float(run["power_w"])
        way_there = next((one for one in lone if _are_a_pair(one, (course, power))), None)
        if way_there is None:
            lone.append((course, power))
        else:
            lone.remove(way_there)
            pairs += 1
    name = setup or "this set-up"
    if lone:
        course, power = lone[-1]
        back = round(course + 180.0) % 360
        return f"Next: run {name} back towards {back:03d}°, at about {whole(power)} W."
    if pairs:
        return (
            f"{setup or 'Without a label'}: {pairs} double run{'s' if pairs > 1 else ''}."
            " Each more tells a smaller difference."
        )
    return ""


def _counts(run: dict[str, Any]) -> bool:
    return (
        run.get("long_enough") is True
        and run.get("open") is not True
        and number(run.get("course_deg")) is not None
        and number(run.get("power_w")) is not None
    )


def _are_a_pair(there: tuple[float, float], back: tuple[float, float]) -> bool:
    apart = abs((there[0] - back[0] + 180.0) % 360.0 - 180.0)
    return apart >= OPPOSITE_DEG and abs(there[1] - back[1]) <= ALIKE_FRACTION * max(
        abs(there[1]), abs(back[1])
    )
