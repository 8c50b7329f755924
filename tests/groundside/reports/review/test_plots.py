"""Plots, read back from matplotlib's artists: equal to the series."""

import io
import struct
import xml.etree.ElementTree as ET
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from groundside.reports.drawing import plot_style
from groundside.reports.review import plots
from groundside.reports.review.pictures import plot_file, sheet
from groundside.reports.review.report_tables import round_bands
from groundside.reports.review.season_table import NamedReview, named_reviews
from groundside.studies.ride_series import Series, track
from groundside.studies.trip_series import trip_series
from groundside.studies.velocity_cells import VelocityCells
from groundside.words.units import CHOICES, Units
from onboard.contract.figure import Figure as Estimated
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Curve, SetAndDrift
from tests.groundside.reports.review.rides import season_outcomes, skiff_outcome
from tests.onboard.efficiency.riding.made_riding import settled

KMH, KNOTS = CHOICES["km/h"], CHOICES["kn"]
PNG = b"\x89PNG\r\n\x1a\n"  # W3C, Portable Network Graphics, 5.2


def axes() -> Axes:
    return Figure().add_subplot()


def skiff() -> NamedReview:
    (ride,) = named_reviews([skiff_outcome()])
    return ride


def series() -> Series:
    kept = skiff_outcome().series
    assert kept is not None
    return kept


def test_the_plotted_curve_and_band_are_the_review_s() -> None:
    drawn, curve = axes(), skiff().result.curve
    assert isinstance(curve, Curve)
    plots.draw_speed_power(drawn, skiff().result, series(), KMH)
    (line,) = drawn.lines
    np.testing.assert_allclose(line.get_xdata(), 3.6 * np.array(curve.speed_mps))
    np.testing.assert_allclose(line.get_ydata(), curve.power_w)
    (band,) = drawn.collections
    (outline,) = band.get_paths()
    corners = {(round(x, 6), round(y, 6)) for x, y in outline.vertices}
    for speed, low, high in zip(curve.speed_mps, curve.low_w, curve.high_w, strict=True):
        assert {(round(3.6 * speed, 6), round(w, 6)) for w in (low, high)} <= corners
    assert drawn.get_xlabel() == "speed through water [km/h]"
    assert drawn.get_ylabel() == "battery power [W]"


def made_series() -> Series:
    """Return a minute due east at 2 m/s and 300 W, and a minute back at 1 m/s and 200 W."""
    seconds = settled(np.repeat([300.0, 200.0], 60), np.repeat([2.0, -1.0], 60))
    seconds = replace(seconds, east_mps=seconds.distance_m, north_mps=0.0 * seconds.distance_m)
    velocities = VelocityCells()
    velocities.fold(seconds.part(0, 50))
    velocities.fold(seconds.part(50, None))
    return replace(series(), velocities=velocities)


@pytest.mark.parametrize("units", [KMH, KNOTS])
def test_a_curve_through_water_had_dots_over_ground_beside_it(units: Units) -> None:
    """One axis has one kind of speed: the curve's."""
    curve = skiff().result.curve
    assert isinstance(curve, Curve)
    assert curve.speed_kind == "through_water"
    # Set and drift are not known in this ride: the curve stands alone, and the legend says why.
    alone = axes()
    plots.draw_speed_power(alone, skiff().result, made_series(), units)
    assert len(alone.lines) == 1
    assert "set and drift not known" in alone.get_legend().get_title().get_text()
    # The stream sets east at 0.2 m/s: 1.8 m/s through the water going out, 1.2 m/s coming back.
    water = SetAndDrift(Estimated(0.2), Estimated(0.0), (0.0, 0.0, 0.0))
    known, drawn = replace(skiff().result, set_and_drift=water), axes()
    plots.draw_speed_power(drawn, known, made_series(), units)
    _, means = drawn.lines
    assert list(means.get_xdata()) == pytest.approx([units.speed(1.2), units.speed(1.8)])
    assert list(means.get_ydata()) == pytest.approx([200.0, 300.0])
    for one in (alone, drawn):
        assert one.get_xlabel() == f"speed through water [{units.speed_name}]"
        assert one.get_title() == "power by speed through water"


def test_a_curve_over_ground_has_the_means_of_the_table_s_bands() -> None:
    review, drawn = skiff().result, axes()
    assert isinstance(review.curve, Curve)
    ground = replace(review, curve=replace(review.curve, speed_kind="over_ground"))
    plots.draw_speed_power(drawn, ground, made_series(), KMH)
    _, means = drawn.lines
    bands = [one for one in round_bands(review, KMH)[0] if isinstance(one.wh_per_km, Estimated)]
    assert len(bands) >= 5
    power = [3600 * band.energy_wh / band.seconds for band in bands]
    np.testing.assert_allclose(means.get_ydata(), power)
    speed = [3.6 * band.distance_m / band.seconds for band in bands]
    np.testing.assert_allclose(means.get_xdata(), speed)
    assert drawn.get_xlabel() == "speed over ground [km/h]"


def test_plotted_energy_and_consumption_are_the_trip_line_s() -> None:
    line = series().line
    energy, cost = axes(), axes()
    plots.draw_energy(energy, series(), KNOTS)
    plots.draw_consumption(cost, series(), KNOTS)
    np.testing.assert_allclose(energy.lines[0].get_xdata(), np.array(line.distance_m) / 1852)
    np.testing.assert_allclose(energy.lines[0].get_ydata(), line.energy_wh)
    expected = [np.nan if x is None else 1.852 * x for x in trip_series(line).wh_per_km]
    np.testing.assert_allclose(cost.lines[0].get_ydata(), expected)
    assert cost.get_ylabel() == "consumption [Wh/NM]"
    assert energy.get_xlabel() == "distance [NM]"
    # The whole line is in view, but for the first metres with their high consumption.
    assert energy.get_ylim()[1] > line.energy_wh[-1]
    assert cost.get_ylim()[1] > np.nanpercentile(expected, 98)


def test_the_track_is_coloured_by_consumption_with_a_scale() -> None:
    drawn, found = axes(), track(series())
    assert found is not None
    plots.draw_track(drawn, series(), KMH)
    casing, coloured = (one for one in drawn.collections if isinstance(one, LineCollection))
    places = np.stack([found.east_m, found.north_m], axis=1)
    np.testing.assert_allclose(np.stack(casing.get_segments())[:, 1], places[1:])
    known = np.isfinite(found.wh_per_km[1:])
    np.testing.assert_allclose(coloured.get_array(), found.wh_per_km[1:][known])
    np.testing.assert_allclose(np.stack(coloured.get_segments())[:, 0], places[:-1][known])
    bar = drawn.figure.axes[1]
    assert bar.get_ylabel() == "consumption [Wh/km]"
    low, high = coloured.get_clim()
    assert np.nanmin(found.wh_per_km) <= low < high <= np.nanmax(found.wh_per_km)
    # Lightness rises with consumption, by the luma weights of ITU-R BT.709.
    colours = coloured.get_cmap()(np.linspace(0, 1, 32))[:, :3] @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(colours) > 0).all()
    assert [text.get_text() for text in drawn.texts] == ["start", "end"]
    for (east, north), text in zip(places[[0, -1]], drawn.texts, strict=True):
        assert (text.xy[0], text.xy[1]) == (east, north)


def test_the_track_is_not_joined_over_a_gap() -> None:
    kept = series()
    drawn = axes()
    plots.draw_track(drawn, replace(kept, pieces=np.delete(kept.pieces, slice(200, 300), 0)), KMH)
    casing = drawn.collections[0]
    assert isinstance(casing, LineCollection)
    longest = max(np.hypot(*(b - a)) for a, b in casing.get_segments())
    assert len(casing.get_segments()) == len(kept.pieces) - 100 - 2
    assert longest < 12


def test_empty_plots_state_the_reason() -> None:
    anchor = season_outcomes()[0]
    assert anchor.series is not None
    assert anchor.result is not None
    for draw in (plots.draw_energy, plots.draw_consumption):
        drawn = axes()
        draw(drawn, anchor.series, KMH)
        assert not drawn.axison
        assert "hardly moved" in drawn.texts[0].get_text()
    drawn = axes()
    assert anchor.result.curve == Unknown(Reason.TOO_FEW_STRETCHES)
    plots.draw_speed_power(drawn, anchor.result, anchor.series, KMH)
    assert drawn.texts[0].get_text() == "unknown: too few steady stretches"
    drawn = axes()
    plots.draw_track(drawn, replace(anchor.series, pieces=np.empty((0, 6))), KMH)
    assert drawn.texts[0].get_text() == "no positions in this log"


def test_a_sheet_has_all_pictures_and_its_name_and_date() -> None:
    with plot_style():
        figure = sheet(skiff(), None, True)
        bare = sheet(skiff(), None, False)
    assert figure.get_suptitle() == "harbour_loop.tlog  2025-06-14 09:30 UTC"
    titles = [one.get_title() for one in figure.axes if one.get_title()]
    assert len(titles) == 4
    assert titles[3] == "track by Wh/km"
    assert [one.get_title() for one in bare.axes] == titles[:3]
    for drawn in figure.axes[:4]:
        assert drawn.get_xlabel().endswith("]")
        assert drawn.get_ylabel().endswith("]")


@pytest.mark.slow
def test_a_png_is_complete() -> None:
    data = plot_file(skiff(), None, ".PNG", True)
    assert data.startswith(PNG)
    at, size, kinds = len(PNG), (0, 0), []
    while at < len(data):
        (length,), kind = struct.unpack_from(">I", data, at), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + length]
        assert struct.unpack_from(">I", data, at + 8 + length)[0] == zlib.crc32(kind + body)
        if kind == b"IHDR":
            size = struct.unpack_from(">II", body)
        kinds.append(kind)
        at += 12 + length
    assert kinds[-1] == b"IEND"
    assert b"tEXt" not in kinds  # nothing of when and where it was made
    assert size == (1430, 1040)


@pytest.mark.slow
def test_an_svg_is_xml_and_the_same_each_time_and_fetches_nothing() -> None:
    data = plot_file(skiff(), None, ".svg", True)
    assert data == plot_file(skiff(), None, ".svg", True)
    root = ET.parse(io.BytesIO(data)).getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    for element in root.iter():
        assert "script" not in element.tag
        for key, value in element.attrib.items():
            if key.endswith("href"):
                assert value.startswith(("#", "data:image/png"))
    assert b"metadata" not in data


@pytest.mark.slow
@pytest.mark.parametrize("name", ["$\\frac{$.tlog", "<script>$x$</script>.tlog", "日本\udcff.tlog"])
def test_names_are_not_parsed_as_formulas(name: str) -> None:
    (ride,) = named_reviews([replace(skiff_outcome(), path=Path(name))])
    assert plot_file(ride, None, ".png", False).startswith(PNG)
    svg = plot_file(ride, None, ".svg", False)
    assert b"<script" not in svg
    ET.fromstring(svg)
