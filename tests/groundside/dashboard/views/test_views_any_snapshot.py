"""Any snapshot is either refused by the reader, or shown by every view without failing."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundside.dashboard.content.aim import aim_content
from groundside.dashboard.content.craft import craft_blocks
from groundside.dashboard.content.curve import curve_content
from groundside.dashboard.content.frame import frame_content
from groundside.dashboard.content.home import home_content
from groundside.dashboard.content.ride import ride_content
from groundside.dashboard.content.runs import runs_content
from groundside.dashboard.content.track import track_content
from groundside.dashboard.content.trip import PANELS, trip_content
from groundside.dashboard.drawing.track_drawing import track_lines
from groundside.dashboard.plain import line_of
from groundside.dashboard.target_choice import TargetChoice
from groundside.words.trip_sums import trip_summary_lines
from groundside.words.units import CHOICES
from onboard.contract.codec import ContractError, plain, read
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine
from tests.groundside.dashboard.steered_app import state
from tests.made_snapshot import made_snapshot

RAW = plain(made_snapshot())
PATHS = sorted(
    [(name,) for name in RAW]
    + [(name, part) for name, value in RAW.items() if isinstance(value, dict) for part in value]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["value", "low", "high", "why", "now", "trip", "cue", "code", "level"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=8,
)


def with_change(raw: dict[str, object], path: tuple[str, ...], value: object) -> dict[str, object]:
    name, *rest = path
    inner = raw.get(name)
    if rest and isinstance(inner, dict):
        value = with_change(inner, tuple(rest), value)
    return {**raw, name: value}


@pytest.mark.slow
@settings(deadline=None)  # must not fail on a loaded machine
@given(st.dictionaries(st.sampled_from(PATHS), JSON, max_size=6), st.floats(0, 1e6))
def test_no_snapshot_breaks_a_viewer(
    changes: dict[tuple[str, ...], object], since_received_s: float
) -> None:
    raw = RAW
    for path, value in changes.items():
        raw = with_change(raw, path, value)
    try:
        shown = read(Snapshot, raw)
    except ContractError:
        return
    units = CHOICES["kn"]
    line = line_of(shown, units, since_received_s)
    here = state(shown, units=units, since_received_s=since_received_s, target_distance_m=5.0)
    content = ride_content(here)
    assert "\n" not in line
    assert not any("nan" in cell.text or "inf" in cell.text for cell in content.figures)
    for figure in (content.consumption, content.range):
        assert set(figure.digits or "") <= set("0123456789.-")
        assert figure.digits is not None or figure.why
    assert len(trip_summary_lines(shown.trip, units)) == 11
    assert frame_content(here).notices
    assert craft_blocks(here)[0]
    assert home_content(here).do or home_content(here).distance.digits
    assert runs_content(here).next
    assert aim_content(here, TargetChoice()).blocks
    assert all(curve_content(here, of_consumption=of).plot for of in (True, False))
    assert len(trip_content(here, PANELS, over_distance=False).plots) == 4
    for near in (True, False):
        assert track_lines(track_content(here, near=near), 40, 12)


POSITIONS = st.none() | st.tuples(st.floats(-1e300, 1e300), st.floats(-1e300, 1e300))


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1e300, 1e300), st.floats(-1e300, 1e300), POSITIONS), max_size=8),
    st.sampled_from(sorted(CHOICES)),
)
def test_no_trip_line_breaks_a_viewer(
    rows: list[tuple[float, float, tuple[float, float] | None]], units: str
) -> None:
    times = tuple(float(n) * 20.0 for n in range(len(rows)))
    made, energy, places = zip(*rows, strict=True) if rows else ((), (), ())
    line = TripLine(times, made, energy, 1.0, places)
    here = state(trip_line=line, units=CHOICES[units])
    for near in (True, False):
        assert track_lines(track_content(here, near=near), 40, 12)
