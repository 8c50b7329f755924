"""Which velocity and which packs count, and the seconds cut from them, by hand."""

import numpy as np
import pytest

from onboard.block import Block
from onboard.efficiency.meters.energy import EnergyMeter
from onboard.efficiency.meters.gate import Gate
from onboard.efficiency.meters.source_rules import is_brief
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.settled_seconds import SecondsCutter
from onboard.efficiency.sources.speed_sources import SpeedSources
from onboard.profile import Sensors
from tests.onboard.efficiency.meters.test_energy import meter
from tests.onboard.efficiency.sources.test_sources_silent import channel


def speeds(seconds: int = 60, **gps) -> SpeedSources:
    """Return the sources for a receiver at 2 m/s to the east, with given columns."""
    sources, t_s = SpeedSources(), np.arange(0.0, seconds, 0.5)
    columns = {"fix": 3, "speed_mps": 2.0, "course_deg": 90.0} | gps
    sources.fold(Block({"gps": channel("gps", t_s, **columns)}))
    return sources


@pytest.mark.parametrize(
    ("course_deg", "east_mps", "north_mps"),
    [(0, 0, 2), (90, 2, 0), (180, 0, -2), (270, -2, 0), (30, 1, 3**0.5)],
)
def test_the_receivers_course_is_from_north_by_east(course_deg, east_mps, north_mps) -> None:
    way = speeds(course_deg=course_deg).chosen().displacement
    made = way.total("east_m") / 59.5, way.total("north_m") / 59.5
    assert made == pytest.approx((east_mps, north_mps), abs=1e-9)


@pytest.mark.parametrize(
    ("stated", "counts"),
    [
        ({"fix": 3}, True),
        ({"fix": 6}, True),
        ({"fix": 2}, False),
        ({"fix": 1}, False),
        ({"speed_sd_mps": 0.9}, True),
        ({"speed_sd_mps": 1.1}, False),
        ({"speed_mps": -1.0}, False),
        ({"speed_mps": 60.0}, False),
    ],
)
def test_a_speed_that_the_receiver_distrusts_is_ignored(stated, counts) -> None:
    found = speeds(**stated).chosen()
    assert (found is not None and found.distance_m > 100.0) is counts


def test_without_a_known_course_the_last_one_is_used() -> None:
    # A craft that hardly moves has no course over ground: it is then stated as unknown.
    course = np.where(np.arange(120) < 60, 30.0, np.nan)
    way = speeds(course_deg=course).chosen().displacement
    assert way.total("north_m") == pytest.approx(59.5 * 3**0.5)


def test_a_fused_velocity_stands_in_for_a_receiver_that_is_not_there() -> None:
    sources, t_s = SpeedSources(), np.arange(0.0, 60.0, 0.5)
    fused = channel("fused", t_s, east_mps=-1.0, north_mps=0.5)
    sources.fold(Block({"fused": fused, "hud": channel("hud", t_s, speed_mps=9.0)}))
    way = sources.chosen().displacement
    assert (way.total("east_m"), way.total("north_m")) == pytest.approx((-59.5, 29.75))


@pytest.mark.parametrize(
    ("covered_s", "most_s", "brief"),
    [
        (9.0, 3600.0, True),
        (10.0, 3600.0, False),
        (4.9, 10.0, True),
        (5.0, 10.0, False),
        (0, 0, False),
    ],
)
def test_a_source_active_for_ten_seconds_or_half_of_the_others_is_not_brief(
    covered_s, most_s, brief
) -> None:
    assert is_brief(covered_s, lambda: most_s) is brief


def pack(begin_s: float, end_s: float, amps_a: float, volts_v: float = 50.0) -> EnergyMeter:
    t_s = np.arange(begin_s, end_s + 0.5)
    return meter(t_s, np.full(len(t_s), volts_v), np.full(len(t_s), amps_a))


def test_two_packs_are_summed_up_to_where_both_were_active() -> None:
    side = BatterySide((pack(0, 100, 6.0), pack(0, 80, 4.0)), ("battery 0", "battery 1"))
    assert (side.first_s, side.last_s) == (0.0, 80.0)
    assert side.longest_silent == "battery 1"
    assert side.between(10.0, 70.0).value == pytest.approx(60 * 500 / 3600)
    assert side.energy_wh == pytest.approx((100 * 300 + 80 * 200) / 3600)


def test_a_pack_left_out_keeps_the_energy_it_gave() -> None:
    # Left out at 60 s, though it stays active.
    stays, gone = pack(0, 100, 6.0), pack(0, 100, 4.0)
    side = BatterySide((stays,), ("battery 0",), ((gone, 60.0),))
    assert side.energy_wh == pytest.approx((100 * 300 + 60 * 200) / 3600)
    assert side.between(60.0, 100.0).value == pytest.approx(40 * 300 / 3600)
    assert side.at("charge_ah", np.array([100.0]))[0] == pytest.approx((100 * 6 + 60 * 4) / 3600)


def test_the_seconds_of_two_packs_are_their_sums_at_their_mean_voltage() -> None:
    # 50 V at 6 A and 48 V at 4 A: 492 W, 10 A, 49 V.
    power, speed = PowerSources(Sensors()), SpeedSources()
    maker, t_s = SecondsCutter(power, speed), np.arange(0.0, 120.0, 0.5)
    both = channel(
        "battery", np.repeat(t_s, 2), pack=np.tile([0, 1], 240), volts_v=np.tile([50, 48], 240),
        amps_a=np.tile([6, 4], 240),
    )  # fmt: skip
    gps = channel("gps", t_s, fix=3, speed_mps=2.0, course_deg=90.0)
    block = Block({"battery": both, "gps": gps})
    for part in (power, speed, maker):
        part.fold(block)
    settled = maker.settled(0.0, 119.5)
    middle = slice(30, 60)
    assert settled.power_w[middle] == pytest.approx(492.0)
    assert settled.amps_a[middle] == pytest.approx(10.0)
    assert settled.volts_v[middle] == pytest.approx(49.0)
    assert settled.charge_ah[middle] == pytest.approx(settled.t_s[middle] * 10 / 3600)
    assert settled.east_mps[middle] == pytest.approx(2.0)
    assert settled.north_mps[middle] == pytest.approx(0.0, abs=1e-9)
    assert settled.distance_m[middle] == pytest.approx(2.0, rel=5e-4)


def test_an_unplugged_pack_gave_nothing_until_it_is_back() -> None:
    # 200 W up to 60 s, unplugged, and back at 100 s for a minute.
    one = pack(0, 60, 4.0)
    one.unplug()
    t_s = np.arange(100.0, 161.0)
    one.fold(t_s, np.full(61, 50.0), np.full(61, 4.0))
    assert one.curves.total("energy_wh") == pytest.approx((60 + 60) * 200 / 3600)
    assert one.bridged_wh == 0.0
    # A gap after that is one again.
    one.fold(np.array([200.0, 201.0]), np.full(2, 50.0), np.full(2, 4.0))
    assert one.bridged_wh == pytest.approx(40 * 200 / 3600)


def test_a_pack_that_was_unplugged_may_come_back_in_pieces() -> None:
    # Active for three seconds, then again: that is its plug, not a gap that it delivered through.
    one = pack(0, 60, 4.0)
    one.unplug()
    for begin_s in (100.0, 120.0, 140.0):
        t_s = begin_s + np.arange(4.0)
        one.fold(t_s, np.full(4, 50.0), np.full(4, 4.0))
    assert one.curves.total("energy_wh") == pytest.approx((60 + 3 * 3) * 200 / 3600)
    assert one.bridged_wh == 0.0


def test_the_gate_passes_no_sample_twice() -> None:
    gate, fine = Gate(), np.ones(4, bool)
    assert gate.passes(np.array([1.0, 2.0, 2.0, 1.5]), fine, fine).tolist() == [1, 1, 0, 0]
    assert gate.passes(np.array([2.0, 2.5]), fine[:2], fine[:2]).tolist() == [0, 1]
    assert (gate.late, gate.unknown, gate.impossible) == (3, 0, 0)
    possible = np.array([True, False])
    assert gate.passes(np.array([3.0, 9.0]), fine[:2], possible).tolist() == [1, 0]
    # An impossible sample does not advance the time.
    assert gate.passes(np.array([4.0]), fine[:1], fine[:1]).tolist() == [1]
    assert list(gate.impossible_s) == [9.0]
