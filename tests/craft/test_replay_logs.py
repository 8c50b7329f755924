"""The logs in replay_logs/ and their truth files match their scenarios.

Figures are compared with tolerances and messages within one unit, not bytes: another processor's
sine may differ in its last digit.
"""

import json
import tomllib
from pathlib import Path
from typing import Any

import pymavlink.dialects.v20.all as dialect
import pytest

from tests.craft.recording import Recording, golden, record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_frames

LOGS = Path(__file__).parents[2] / "replay_logs"
LARGEST_BYTES = {"harbour_loop": 900_000, "at_anchor": 400_000, "board_sprints": 400_000}


@pytest.fixture(scope="module", params=sorted(LARGEST_BYTES))
def recording(request: pytest.FixtureRequest) -> Recording:
    return record(SCENARIOS[request.param])


def same(got: Any, want: Any, path: str = "") -> None:
    """Compare nested figures; numbers to a millionth, and to the last digit written."""
    if isinstance(want, dict):
        assert got.keys() == want.keys(), path
        for key, value in want.items():
            same(got[key], value, f"{path}.{key}")
    elif isinstance(want, list):
        assert len(got) == len(want), path
        for index, value in enumerate(want):
            same(got[index], value, f"{path}[{index}]")
    elif isinstance(want, float):
        assert got == pytest.approx(want, rel=1e-6, abs=2e-6), path
    else:
        assert got == want, path


def test_truth_is_reproduced(recording: Recording) -> None:
    want = json.loads((LOGS / f"{recording.scenario.name}.truth.json").read_text())
    same(golden(recording), want)


def test_messages_are_reproduced(recording: Recording) -> None:
    committed = list(log_frames(LOGS / f"{recording.scenario.name}.tlog"))
    assert len(committed) == len(recording.frames)
    reader = dialect.MAVLink(None)
    for old, new in zip(committed, recording.frames, strict=True):
        if old.data == new.data:
            continue
        before, after = reader.decode(bytearray(old.data)), reader.decode(bytearray(new.data))
        assert before.get_type() == after.get_type()
        for name in before.get_fieldnames():
            assert getattr(before, name) == pytest.approx(getattr(after, name), abs=1)


def test_logs_are_small() -> None:
    for name, largest in LARGEST_BYTES.items():
        assert (LOGS / f"{name}.tlog").stat().st_size < largest
    assert {path.stem for path in LOGS.glob("*.tlog")} == set(LARGEST_BYTES)


@pytest.mark.parametrize("name", ["harbour_loop", "board_sprints"])
def test_profiles_describe_the_simulated_craft(name: str) -> None:
    profile = tomllib.loads((LOGS / f"{name}.toml").read_text())
    craft = SCENARIOS[name].ride.craft
    battery = profile["battery"]
    assert battery["chemistry"] == craft.battery.chemistry
    assert battery["cells"] == craft.battery.cells
    assert battery["capacity_ah"] == craft.battery.capacity_ah
