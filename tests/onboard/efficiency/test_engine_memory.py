"""Memory of the engine over hours of stream: bounded, and small."""

import numpy as np
import pytest

from onboard.block import COLUMNS, Block, Channel
from onboard.efficiency.curve import learner
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile
from tests.deep_size import deep_size

PROFILE = Profile(battery=Battery(chemistry="lfp", cells=8, capacity_ah=800.0))

BLOCK_S = 100.0


def sources(begin_s: float, rng: np.random.Generator) -> Block:
    """Return a ride to and fro at several powers, with rests and turns."""
    channels = {}
    for name, rate_hz in (
        *(("power", 1.0), ("battery", 1.0), ("gps", 1.0), ("fused", 1.0)),
        *(("hud", 0.2), ("attitude", 0.2), ("clock", 0.1)),
    ):
        t_s = begin_s + np.arange(0.0, BLOCK_S, 1.0 / rate_hz)
        leg = np.floor(t_s / 600.0)
        rests = t_s % 3600.0 > 3540.0
        speed = np.where(rests, 0.0, 1.5 + 0.2 * (leg % 5)) + rng.normal(0, 0.02, len(t_s))
        course_deg = 90.0 * leg % 360
        amps = np.where(rests, 0.3, 40.0 + 10.0 * (leg % 5)) + rng.normal(0, 0.1, len(t_s))
        known = {
            "volts_v": 26.5 - 0.002 * amps,
            "amps_a": amps,
            "fix": np.full(len(t_s), 3.0),
            "speed_mps": np.maximum(speed, 0.0),
            "course_deg": course_deg,
            "east_mps": speed * np.sin(np.radians(course_deg)),
            "north_mps": speed * np.cos(np.radians(course_deg)),
            "latitude_deg": 45.0 + 1e-4 * (leg % 5),
            "longitude_deg": np.full(len(t_s), -30.0),
            "utc_s": 1.75e9 + t_s,
            "pack": np.zeros(len(t_s)),
        }
        unknown = np.full(len(t_s), np.nan)
        channels[name] = Channel(t_s, {key: known.get(key, unknown) for key in COLUMNS[name]})
    return Block(channels)


@pytest.mark.slow
def test_ten_hours_take_no_more_memory_than_two(monkeypatch: pytest.MonkeyPatch) -> None:
    # The curve's memory is full within the first hour, and its fits are short.
    monkeypatch.setattr(learner, "BLOCKS_MOST", 60)
    engine, rng = Engine(PROFILE), np.random.default_rng(3)
    kept: dict[int, int] = {}
    for number in range(360):
        engine.fold(sources(number * BLOCK_S, rng))
        if number % 36 == 35:
            engine.figures()
            kept[(number + 1) // 36] = deep_size(engine)
    assert engine.learner.posterior is not None
    # Six curves with several columns, allocated in full from the beginning.
    assert kept[1] < 5 << 20, kept
    assert max(kept[hour] for hour in range(3, 11)) < kept[2] + 32_000, kept
