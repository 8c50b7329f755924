"""Figures that count from further back than the cumulative curves' memory."""

import numpy as np
import pytest

from onboard.block import Block, Channel
from onboard.efficiency.engine import Engine
from onboard.profile import Profile
from tests.onboard.efficiency.made_channels import channel


def power(name: str, t_s) -> tuple[str, Channel]:
    """Return 100 W until 500 s, then 300 W, for packs or summary."""
    amps = np.where(t_s < 500.0, 2.0, 6.0)
    more = {"pack": 0.0} if name == "battery" else {}
    return name, channel(name, t_s, volts_v=50.0, amps_a=amps, **more)


def gps(t_s) -> tuple[str, Channel]:
    """Return a receiver due north at 2 m/s."""
    return "gps", channel("gps", t_s, fix=3.0, speed_mps=2.0, course_deg=0.0)


def folded(channels: dict[str, Channel], block_s: float) -> Engine:
    engine = Engine(Profile())
    end_s = max(one.t_s[-1] for one in channels.values())
    for begin_s in np.arange(0.0, end_s + 1.0, block_s):
        block = {}
        for name, one in channels.items():
            piece = (one.t_s >= begin_s) & (one.t_s < begin_s + block_s)
            if piece.any():
                columns = {key: values[piece] for key, values in one.columns.items()}
                block[name] = Channel(one.t_s[piece], columns)
        engine.fold(Block(block))
    return engine


@pytest.mark.slow
@pytest.mark.parametrize("block_s", [10.0, 5000.0])
def test_a_trip_that_changes_its_power_sensor_counts_from_its_beginning(block_s) -> None:
    # The pack falls silent after half an hour. From 2,000 s on the summary covers more, and the
    # trip counts by it from the first fix on.
    t_s = np.arange(0.0, 2200.0)
    pack = power("battery", t_s[t_s < 1800.0])
    channels = dict([power("power", t_s), pack, gps(t_s[t_s >= 600.0])])
    engine = folded(channels, block_s)
    assert engine.packs == ()
    trip = engine.figures().trip
    assert trip.wh_per_km.value == pytest.approx(300.0 / 3.6 / 2.0, rel=1e-4)
    assert engine.together.first.energy_wh == pytest.approx(80_000.0 / 3600.0, rel=2e-3)


@pytest.mark.slow
def test_a_consumption_remains_when_one_meter_is_silent_for_long() -> None:
    t_s = np.arange(0.0, 1500.0)
    silent_from = (600.5, 1400.5)
    streams = [dict([power("power", t_s[t_s < left_s]), gps(t_s)]) for left_s in silent_from]
    figures = [[folded(one, block_s).figures() for one in streams] for block_s in (7.0, 5000.0)]
    for fine, coarse in zip(*figures, strict=True):
        for name in ("value", "low", "high"):
            mine, theirs = (getattr(one.trip.wh_per_km, name) for one in (fine, coarse))
            assert mine == pytest.approx(theirs, rel=1e-9)
