"""Plots of a ride; each function draws into one matplotlib axes.

If there is nothing to draw, the axes show the reason in words.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from groundside.reports.drawing import DOT, INK, LINE, Drawing, explain
from groundside.reports.review.report_tables import BRIEF_S, round_bands
from groundside.studies.review_result import Review
from groundside.studies.ride_series import Series, track
from groundside.studies.trip_series import trip_series
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import SpeedKind
from onboard.efficiency.common_practice import HARDLY_MOVED_M
from onboard.efficiency.meters.steadiness import MOVING_MPS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLOURS = "cividis"
"""Colour map: perceptually uniform, and the same without red-green vision."""
CASING = "#8a8f94"
"""Colour around the track: contrasts with both ends of the colour map, white and black."""
CASING_PT, TRACK_PT = 5.0, 3.4
BAND = ", with the 95 % band of the curve"
NO_MEANS = "means not drawn: set and drift not known"
NO_WAY = "hardly moved, or power and speed are not known at the same time"
SPEED_KINDS: Mapping[SpeedKind, str] = {
    "through_water": "through water",
    "over_ground": "over ground",
}
LEAST_VIEW_M = 20.0
"""Least extent of a track's view [m]: a smaller one would show the receiver's noise."""
RARE_PERCENT = 2.0
"""Share of the places at either end of the scale that get its last colour [%], so that outliers do
not stretch it."""


def draw_speed_power(axes: "Axes", review: Review, series: Series, units: Units) -> None:
    """Draw the curve with its 95 % band, and the means of all riding by bands of speed.

    All speeds are of the curve's kind, through water or over ground: never both in one plot.
    """
    curve = review.curve
    kind: SpeedKind = "over_ground" if isinstance(curve, Unknown) else curve.speed_kind
    means = _means(review, series, units, kind)
    axes.set_title(f"power by speed {SPEED_KINDS[kind]}")
    if isinstance(curve, Unknown) and not means:
        explain(axes, f"unknown: {reason_text(curve, units)}")
        return
    if not isinstance(curve, Unknown):
        speed = [units.speed(value) for value in curve.speed_mps]
        axes.fill_between(
            speed, curve.low_w, curve.high_w, color=LINE, alpha=0.3, lw=0, label="95 % band"
        )
        axes.plot(speed, curve.power_w, color=LINE, label="curve, riding steadily")
    if means:
        speeds, power = zip(*means, strict=True)
        axes.plot(
            [units.speed(value) for value in speeds],
            power,
            *("o",),
            color=DOT,
            fillstyle="none",
            label="means of all riding",
        )
    axes.set_xlabel(f"speed {SPEED_KINDS[kind]} [{units.speed_name}]")
    axes.set_ylabel("battery power [W]")
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    why = "" if means or kind == "over_ground" else NO_MEANS
    axes.legend(fontsize="small", title=why, title_fontsize="small")


def _means(
    review: Review, series: Series, units: Units, kind: SpeedKind
) -> list[tuple[float, float]]:
    """Return mean speed [m/s] and power [W] of the bands with enough time.

    Through water there are none unless set and drift are known.
    """
    if kind == "over_ground":
        return [
            (band.distance_m / band.seconds, 3600.0 * band.energy_wh / band.seconds)
            for band in round_bands(review, units)[0]
            if band.seconds >= BRIEF_S and not isinstance(band.wh_per_km, Unknown)
        ]
    water = review.set_and_drift
    if isinstance(water, Unknown):
        return []
    east, north = water.east_mps, water.north_mps
    if isinstance(east, Unknown) or isinstance(north, Unknown):
        return []
    width_mps = units.speed_band * units.speed_unit_mps
    found = series.velocities.means(east.value, north.value, width_mps, BRIEF_S)
    return [(one.speed_mps, one.power_w) for one in found if one.speed_mps > MOVING_MPS]


def draw_energy(axes: "Axes", series: Series, units: Units) -> None:
    """Draw energy used against distance."""
    axes.set_title("energy over distance")
    line = series.line
    if len(line.t_s) < 2 or line.distance_m[-1] - line.distance_m[0] < HARDLY_MOVED_M:
        explain(axes, NO_WAY)
        return
    axes.plot([units.distance(value) for value in line.distance_m], line.energy_wh, color=LINE)
    axes.set_xlabel(f"distance [{units.distance_name}]")
    axes.set_ylabel("energy used [Wh]")
    axes.set_ylim(bottom=0.0)


def draw_consumption(axes: "Axes", series: Series, units: Units) -> None:
    """Draw the consumption over the preceding stretch against distance."""
    axes.set_title(f"{units.consumption_name} over distance")
    found = trip_series(series.line)
    cost = [np.nan if one is None else units.consumption(one) for one in found.wh_per_km]
    if not np.isfinite(cost).any():
        explain(axes, NO_WAY)
        return
    axes.plot([units.distance(value) for value in found.distance_m], cost, color=LINE)
    axes.set_xlabel(f"distance [{units.distance_name}]")
    axes.set_ylabel(f"consumption [{units.consumption_name}]")
    # A start from rest takes much energy over a few metres, which would flatten the rest.
    low, high = np.nanpercentile(cost, [0.0, 98.0])
    axes.set_ylim(min(low, 0.0), 1.15 * high if high > 0.0 else None)


def draw_track(axes: "Axes", series: Series, units: Units) -> None:
    """Draw the track, coloured by consumption."""
    from matplotlib.collections import LineCollection

    axes.set_title(f"track by {units.consumption_name}")
    found = track(series)
    if found is None:
        explain(axes, "no positions in this log")
        return
    places = np.stack([found.east_m, found.north_m], axis=1)
    pairs = np.stack([places[:-1], places[1:]], axis=1)[found.joined[1:]]
    cost = units.consumption(1.0) * found.wh_per_km[1:][found.joined[1:]]
    axes.add_collection(
        LineCollection(list(pairs), colors=CASING, linewidths=CASING_PT, capstyle="round")
    )
    known = np.isfinite(cost)
    if known.any():
        coloured = LineCollection(
            list(pairs[known]), cmap=COLOURS, linewidths=TRACK_PT, capstyle="round"
        )
        coloured.set_array(cost[known])
        coloured.set_clim(*np.percentile(cost[known], [RARE_PERCENT, 100.0 - RARE_PERCENT]))
        axes.add_collection(coloured)
        if axes.figure is not None:
            bar = axes.figure.colorbar(coloured, ax=axes, extend="both")
            bar.set_label(f"consumption [{units.consumption_name}]")
    _mark_ends(axes, places)
    _frame(axes, places)
    axes.set_xlabel("east of the start [m]")
    axes.set_ylabel("north of the start [m]")


def _frame(axes: "Axes", places: FloatArray) -> None:
    """Show all places with a margin for labels, at equal scale on both axes."""
    low, high = places.min(axis=0), places.max(axis=0)
    middle, reach = (low + high) / 2.0, 0.65 * max(float(np.max(high - low)), LEAST_VIEW_M)
    axes.set_xlim(middle[0] - reach, middle[0] + reach)
    axes.set_ylim(middle[1] - reach, middle[1] + reach)
    axes.set_aspect("equal", adjustable="datalim")


def _mark_ends(axes: "Axes", places: FloatArray) -> None:
    """Mark start and end, legible even at the same place."""
    for place, word, mark, shift in (
        (places[0], "start", "o", (-7, 7)),
        (places[-1], "end", "s", (7, -7)),
    ):
        axes.plot(*place, mark, color=INK, markersize=6)
        axes.annotate(
            word,
            place,
            shift,
            textcoords="offset points",
            ha="right" if shift[0] < 0 else "left",
            va="bottom" if shift[1] > 0 else "top",
        )


def drawings(
    review: Review, series: Series, units: Units, *, tracks: bool
) -> list[tuple[str, Drawing]]:
    """Return the plots of a ride: a caption and a function that draws it, for each.

    Parameters
    ----------
    review
        The log's review.
    series
        Its series.
    units
        The rider's units.
    tracks
        Whether to include the track.
    """
    cost = units.consumption_name
    found: list[tuple[str, Drawing]] = [
        (
            "Battery power against speed" + ("" if isinstance(review.curve, Unknown) else BAND),
            lambda axes: draw_speed_power(axes, review, series, units),
        ),
        ("Energy against distance", lambda axes: draw_energy(axes, series, units)),
        (f"{cost} against distance", lambda axes: draw_consumption(axes, series, units)),
    ]
    if tracks:
        track_words = f"Track, coloured by {cost}; the picture before tells the same over distance"
        found.append((track_words, lambda axes: draw_track(axes, series, units)))
    return found
