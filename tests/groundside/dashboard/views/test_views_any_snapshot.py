"""Whatever a daemon says: it is refused by the reader of snapshots, or every view stands it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundside.dashboard.aiming import Aiming
from groundside.dashboard.faces.aim import aim_face
from groundside.dashboard.faces.craft import craft_blocks
from groundside.dashboard.faces.curve import curve_face
from groundside.dashboard.faces.frame import frame_face
from groundside.dashboard.faces.home import home_face
from groundside.dashboard.faces.ride import ride_face
from groundside.dashboard.faces.runs import runs_face
from groundside.dashboard.faces.trip import PANELS, trip_face
from groundside.dashboard.plain import line_of, trip_summary_lines
from groundside.words.units import CHOICES
from onboard.contract.codec import ContractError, plain, read
from onboard.contract.snapshot import Snapshot
from tests.groundside.dashboard.steered_app import scene
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
@settings(deadline=None)  # a loaded machine is no fault of the code
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
    here = scene(shown, units=units, since_received_s=since_received_s, target_distance_m=5.0)
    face = ride_face(here)
    assert "\n" not in line
    assert not any("nan" in cell.text or "inf" in cell.text for cell in face.cells)
    for hero in (face.consumption, face.range):
        assert set(hero.digits or "") <= set("0123456789.-")
        assert hero.digits is not None or hero.why
    assert len(trip_summary_lines(shown.trip, units)) == 11
    assert frame_face(here).notices
    assert craft_blocks(here)[0]
    assert home_face(here).do or home_face(here).distance.digits
    assert runs_face(here).next
    assert aim_face(here, Aiming()).blocks
    assert all(curve_face(here, of_consumption=of).plot for of in (True, False))
    assert len(trip_face(here, PANELS, over_distance=False).plots) == 4
