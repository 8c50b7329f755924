"""Pictures of a comparison: what is drawn where."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from groundside.reports.compare.compare_plots import NO_WATER, drawings
from groundside.words.units import CHOICES, Units
from onboard.contract.figure import Figure, Unknown
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison
from tests.onboard.efficiency.trial.made_legs import Runs, made_lap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

pytestmark = pytest.mark.slow

KMH = CHOICES["km/h"]
DIFFERENCES, RUNS, POWER, WATER = range(4)


def compared(runs: Runs | None = None, legs=None) -> Comparison:
    found = compare(
        legs or (runs or Runs("abba")).legs(), 400.0, CurveSlope(0.28, 0.08, False), 0.02
    )
    assert not isinstance(found, Unknown)
    return found


def drawn(found: Comparison, which: int, units: Units = KMH) -> "Axes":
    from matplotlib.figure import Figure as Sheet

    axes = Sheet().add_subplot()
    drawings(found, units)[which][1](axes)
    return axes


def points(axes: "Axes", marker: str) -> list[tuple[float, float]]:
    return [
        (float(x), float(y))
        for line in axes.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)  # type: ignore[arg-type]
    ]


def test_differences_have_their_intervals_and_groups_a_line_between() -> None:
    found = compared(Runs("abccba" * 2))
    axes = drawn(found, DIFFERENCES)
    labels = [one.get_text() for one in axes.get_yticklabels()]
    assert labels == ["a  A", "b  B", "c  C"]
    behind = [one.behind_fraction for one in found.places]
    values = [100 * one.value for one in behind if isinstance(one, Figure)]
    assert [x for x, _ in points(axes, "o")] == pytest.approx(values)
    bars = [line for line in axes.lines if line.get_linewidth() == 2.0]
    ends = [end for line in bars for end in line.get_xdata()]  # type: ignore[attr-defined]
    assert ends == pytest.approx([
        100 * end for one in behind[1:] if isinstance(one, Figure)
        for end in (one.low or 0.0, one.high or 0.0)
    ])  # fmt: skip
    between = [line.get_ydata()[0] for line in axes.lines if line.get_linewidth() == 0.8]
    assert {0.5, 1.5} <= {float(y) for y in between}
    low, high = sorted(axes.get_ylim())
    assert (low, high) == (-0.5, 2.5)


def test_runs_stand_at_their_times_and_costs_and_what_was_left_out_is_crossed() -> None:
    noise = [0.003 * (-1) ** (n // 3) for n in range(16)]
    noise[4:6] = [-0.12, -0.12]
    found = compared(Runs("abbaabba", noise=noise))
    assert [one.legs for one in found.evidence.left_out] == [(4, 5)]
    axes = drawn(found, RUNS)
    rings = points(axes, "o")
    costs = 400.0 / 3.6 / found.evidence.speed_mps
    assert [y for _, y in rings] == pytest.approx(costs.tolist())
    # Legs of 100 s every 140 s: the middle of the first two is at 120 s after the first began.
    assert rings[0][0] == pytest.approx(120.0 / 60.0)
    (cross,) = points(axes, "x")
    assert cross[0] == pytest.approx((4 * 140.0 + 120.0) / 60.0)
    # b made 1.9 m/s, and 12 % less in that run.
    assert cross[1] == pytest.approx(400.0 / 3.6 / (1.9 * np.exp(-0.12)), rel=0.01)
    words = [one.get_text() for one in axes.texts]
    assert "run 5, 6" in words
    assert words.count("A") == 4
    assert words.count("B") == 3


def test_runs_are_freed_of_the_water() -> None:
    found = compared(Runs("abba", water_mps=lambda t_s: 0.3))
    costs = [y for _, y in points(drawn(found, RUNS), "o")]
    assert costs == pytest.approx([400 / 3.6 / v for v in (2.0, 1.9, 1.9, 2.0)], rel=1e-3)
    water = points(drawn(found, WATER, CHOICES["m/s"]), "o")
    # Along the first course, there and back alike.
    assert [y for _, y in water] == pytest.approx([0.3] * 8, abs=1e-3)


def test_a_run_without_a_partner_is_crossed_too() -> None:
    found = compared(legs=Runs("abba", water_mps=lambda t_s: 0.3).legs()[1:])
    assert [one.leg for one in found.evidence.unpaired] == [0]
    # a made 2 m/s through the water, whatever way it moved.
    ((_, cost),) = points(drawn(found, RUNS), "x")
    assert cost == pytest.approx(400 / 3.6 / 2.0, rel=0.01)
    assert len(points(drawn(found, WATER), "x")) == 1


def test_power_is_drawn_for_each_run() -> None:
    powers = [400.0, 404.0, 398.0, 402.0, 401.0, 399.0, 400.0, 405.0]
    axes = drawn(compared(Runs("abba", power_w=powers)), POWER)
    assert points(axes, "o") == [(n, power) for n, power in enumerate(powers, 1)]


def test_a_pause_between_outings_is_short() -> None:
    first = Runs("abba").legs()
    second = [replace(one, outing=1, start_s=one.start_s + 1e6) for one in first]
    found = compared(legs=[*first, *second])
    times = [x for x, _ in points(drawn(found, RUNS), "o")]
    # The first ends 1080 s after it began; then ten minutes.
    assert times[4] - times[0] == pytest.approx((7 * 140.0 + 100.0) / 60.0 + 10.0)


def test_laps_have_no_water() -> None:
    laps = [made_lap(name, 300.0 * n, 2.0 - 0.1 * (name == "b")) for n, name in enumerate("abba")]
    found = compared(legs=laps)
    assert drawn(found, WATER).texts[0].get_text() == NO_WATER
    costs = [y for _, y in points(drawn(found, RUNS), "o")]
    assert costs == pytest.approx([400 / 3.6 / v for v in (2.0, 1.9, 1.9, 2.0)], rel=1e-6)


def test_names_are_no_formulas() -> None:
    found = compared()
    odd = tuple(replace(one, name=f"$\\frac{{{one.name}$") for one in found.places)
    axes = drawn(replace(found, places=odd), DIFFERENCES)
    assert not any(one.get_parse_math() for one in axes.get_yticklabels())
