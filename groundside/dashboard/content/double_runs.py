"""The next run that completes a double run, there and back: one way alone is biased by current."""

from collections.abc import Sequence

from groundside.dashboard.content.setups import PLAIN
from groundside.words.figures import whole
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Run

OPPOSITE_DEG = 150.0
"""Angle between two courses from which they count as there and back [deg]. Common practice, no
source."""
ALIKE_FRACTION = 0.1
"""Relative difference in power up to which two runs can form a double run. Common practice, no
source."""


def next_step(runs: Sequence[Run], setup: str) -> str:
    """Return what to do next with the set-up in force; empty if it has no valid run yet.

    Parameters
    ----------
    runs
        The snapshot's runs, oldest first.
    setup
        The label in force, empty if there is none.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from onboard.contract.figure import Figure
    >>> there = Run(1, "A", False, 0.0, 60.0, 40.0, 400.0, 2.2, 83.0, Figure(51.0), True)
    >>> next_step([there], "A")
    'Next: run A back towards 263°, at about 400 W.'
    >>> next_step([there, replace(there, course_deg=260.0)], "A")
    'A: 1 double run. Each more tells a smaller difference.'
    """
    lone: list[tuple[float, float]] = []
    pairs = 0
    for run in runs:
        course, power = run.course_deg, run.power_w
        counts = run.long_enough and not run.open and run.setup == (setup or PLAIN)
        if not counts or isinstance(course, Unknown) or isinstance(power, Unknown):
            continue
        way_there = next((one for one in lone if _are_a_pair(one, (course, power))), None)
        if way_there is None:
            lone.append((course, power))
        else:
            lone.remove(way_there)
            pairs += 1
    if lone:
        course, power = lone[-1]
        back = round(course + 180.0) % 360
        name = setup or "this set-up"
        return f"Next: run {name} back towards {back:03d}°, at about {whole(power)} W."
    if pairs:
        return (
            f"{setup or 'Without a label'}: {pairs} double run{'s' if pairs > 1 else ''}."
            " Each more tells a smaller difference."
        )
    return ""


def _are_a_pair(there: tuple[float, float], back: tuple[float, float]) -> bool:
    apart = abs((there[0] - back[0] + 180.0) % 360.0 - 180.0)
    return apart >= OPPOSITE_DEG and abs(there[1] - back[1]) <= ALIKE_FRACTION * max(
        abs(there[1]), abs(back[1])
    )
