"""Any partition of a stream into blocks gives the same figures, which makes a replay a proof."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from onboard.block import COLUMNS, Block, Channel
from onboard.contract.alerts import Alert
from onboard.contract.figure import Figure, Unknown
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile, Sensors

PROFILE = Profile(
    battery=Battery(chemistry="lfp", cells=16, capacity_ah=50.0),
    sensors=Sensors(current_scale=1.02, current_offset_a=0.1),
)


def stream(seed: int, seconds: float) -> dict[str, Channel]:
    """Return columns with gaps, unknowns, outliers, repeats and late samples."""
    rng, cells = np.random.default_rng(seed), np.random.default_rng([seed, 1])
    channels = {}
    rates = {"power": 2.0, "battery": 3.0, "gps": 5.0, "fused": 4.0, "drive": 2.0, "hud": 2.0}
    for name, rate in rates.items():
        t_s = np.sort(rng.uniform(0, seconds, int(rate * seconds)))
        gap = rng.uniform(0, seconds)
        t_s = t_s[(t_s < gap) | (t_s > gap + 12)]
        t_s[rng.random(len(t_s)) < 0.03] -= 1.0
        columns = {
            key: (cells if "cell" in key else rng).uniform(0, 10, len(t_s)) for key in COLUMNS[name]
        }
        if name in ("power", "battery"):
            columns["volts_v"] = rng.uniform(9, 10, len(t_s))
            odd = rng.random(len(t_s)) < 0.01
            columns["amps_a"][odd] = rng.choice([-327.67, 60.0, 327.67], np.count_nonzero(odd))
            columns["volts_v"][rng.random(len(t_s)) < 0.01] = 65.0
        if name == "battery":
            # The first two stay, the third dies, the fourth comes later, the fifth is a stray.
            pack = rng.integers(0, 3, len(t_s))
            pack[(pack == 2) & (t_s > rng.uniform(0, 1.5) * seconds)] = 0
            pack[(pack == 1) & (t_s > rng.uniform(0, 1.5) * seconds)] = 3
            pack[rng.random(len(t_s)) < 0.003] = 4
            columns["pack"] = pack.astype(float)
            columns["amps_a"][pack == 2] *= rng.choice([1.0, 0.02])
            columns["cells"] = cells.choice([16.0, 16.0, 16.0, 1.0], len(t_s))
            columns["low_cell_v"] = np.where(t_s % 80 < 40, 2.4, 3.1)
            columns["high_cell_v"] = columns["low_cell_v"] + cells.uniform(0.0, 0.4)
        if name == "gps":
            columns["speed_sd_mps"] = rng.choice([0.1, np.nan, 2.0], len(t_s), p=[0.8, 0.1, 0.1])
            columns["course_deg"] = t_s * 0.7 % 360
            columns["fix"] = rng.choice([1.0, 3.0, 3.0, 4.0], len(t_s))
            columns["speed_mps"] = np.abs(np.sin(t_s / 20)) * 3
            columns["latitude_deg"] = 45 + t_s * 1e-5
            columns["longitude_deg"] = -30 - t_s * 1e-5
        if name == "drive":
            columns["motor"] = rng.choice([0.0, 1.0, 7.0], len(t_s), p=[0.5, 0.49, 0.01])
        for key in (key for key in columns if key not in ("pack", "motor")):
            columns[key][(cells if "cell" in key else rng).random(len(t_s)) < 0.02] = np.nan
        for key in ("volts_v", "speed_mps"):
            if key in columns:
                columns[key][rng.random(len(t_s)) < 0.01] = 1e17
        channels[name] = Channel(t_s, columns)
    return channels


def fold(channels: dict[str, Channel], cuts: list[float]) -> Engine:
    """Fold in pieces of arrival: each channel is cut a little before or after, as on a link."""
    engine = Engine(PROFILE)
    seconds = max(channel.t_s.max() for channel in channels.values())
    for first, last in itertools.pairwise([-1.0, *cuts, 2.0]):
        block = {}
        for number, (name, channel) in enumerate(channels.items()):
            arrived = np.maximum.accumulate(channel.t_s) + 0.7 * number
            piece = (arrived > first * seconds) & (arrived <= last * seconds)
            if piece.any():
                columns = {key: column[piece] for key, column in channel.columns.items()}
                block[name] = Channel(channel.t_s[piece], columns)
        engine.fold(Block(block))
    return engine


def leaves(value, path="") -> dict[str, object]:
    if isinstance(value, Figure):
        return {path: value.value, f"{path}.low": value.low, f"{path}.high": value.high}
    if isinstance(value, tuple):
        value = dict(enumerate(value))
    if isinstance(value, Alert):
        value = {"code": value.code, "since_s": value.since_s, **value.values}
    if isinstance(value, dict):
        inner = [leaves(one, f"{path}.{key}") for key, one in value.items()]
        return {path: len(inner)} | {key: one for part in inner for key, one in part.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, Unknown):
        found = {}
        for field in dataclasses.fields(value):
            found |= leaves(getattr(value, field.name), f"{path}.{field.name}")
        return found
    return {path: value}


@settings(max_examples=60)
@example(2, 200.0, [0.0078125])  # the first sample of all comes late
@example(439, 700.0, [0.5])  # the neighbour that reveals a lone sample comes minutes later
@example(10165, 700.0, [0.75])  # the last sample of a brief source waits for the next
@example(5, 200.0, [n / 150 for n in range(150)])  # every second or so, as on a link
@example(7, 700.0, [n / 70 for n in range(70)])
@example(19328411, 30.0, [0.5])  # cells of two packs are equally low
@given(
    st.integers(0, 2**31),
    st.sampled_from([30.0, 200.0, 700.0]),
    st.lists(st.floats(0, 1), max_size=40).map(sorted),
)
def test_figures_do_not_depend_on_the_partition(
    seed: int, seconds: float, cuts: list[float]
) -> None:
    channels = stream(seed, seconds)
    whole = leaves(fold(channels, []).figures())
    pieces = leaves(fold(channels, cuts).figures())
    assert whole.keys() == pieces.keys()
    for path, value in whole.items():
        if isinstance(value, float):
            assert math.isclose(value, pieces[path], rel_tol=1e-9, abs_tol=1e-9), path
        else:
            assert value == pieces[path], path


def test_energy_and_distance_curves_are_equal_to_the_last_bit() -> None:
    channels = stream(5, 700.0)
    whole = fold(channels, [])
    single = fold(channels, list(np.linspace(0, 1, 2000)))
    assert whole.figures().trip.energy_wh == single.figures().trip.energy_wh
    assert whole.figures().trip.distance_m == single.figures().trip.distance_m
    assert whole.figures().wh_per_km == single.figures().wh_per_km


def test_hours_of_fast_samples_in_one_block_lose_no_second() -> None:
    # More samples than the cumulative curves remember.
    t_s = np.arange(60_000) * 0.05
    gps = {key: np.full(len(t_s), np.nan) for key in COLUMNS["gps"]}
    gps |= {"fix": np.full(len(t_s), 3.0), "speed_mps": 2.0 + 0.1 * np.sin(t_s / 50)}
    gps |= {"course_deg": np.full(len(t_s), 80.0)}
    power = {key: np.full(len(t_s), np.nan) for key in COLUMNS["power"]}
    power |= {"volts_v": np.full(len(t_s), 50.0), "amps_a": 5.0 + np.cos(t_s / 40)}
    engine = Engine(PROFILE)
    engine.fold(Block({"gps": Channel(t_s, gps), "power": Channel(t_s, power)}))
    bands = engine.ridden().bands()
    assert sum(band.seconds for band in bands) >= 2970
    energy = sum(band.energy_wh for band in bands)
    assert energy == pytest.approx(engine.figures().trip.energy_wh.value, rel=0.01)
