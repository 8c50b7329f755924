"""Which sources count: stray ones never; a silent one makes figures unknown until unplugged."""

import numpy as np
import pytest

from onboard.block import Block
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile
from tests.onboard.efficiency.made_channels import channel

PROFILE = Profile(battery=Battery(chemistry="li-ion", cells=14, energy_wh=1000.0))
GOOD = (10.0, 0, 9999)
"""Current [A], and the times from and until which it is active [s]."""


def ride(engine: Engine, begin_s: int, end_s: int, packs, step_s: int = 10, **more) -> Engine:
    """Ride at 2 m/s in blocks of `step_s`, with packs of 50 V (number: current, from, until)."""
    for first in range(begin_s, end_s, step_s):
        t_s = np.arange(first, min(first + step_s, end_s), 0.5)
        block = {"gps": channel("gps", t_s, fix=3, speed_mps=2.0, course_deg=90.0)}
        rows = [
            (t, number, amps)
            for t in t_s
            for number, (amps, since, until) in packs.items()
            if since <= t < until
        ]
        if rows:
            when, pack, amps = np.array(rows).T
            block["battery"] = channel("battery", when, pack=pack, volts_v=50.0, amps_a=amps)
        for name, columns in more.items():
            block[name] = channel(name, t_s, **columns)
        engine.fold(Block(block))
    return engine


def notices(engine: Engine) -> dict[str, tuple[str, ...]]:
    return {alert.code: alert.values.get("sources", ()) for alert in engine.figures().alerts}


def known(engine: Engine) -> tuple[bool, bool, bool, bool]:
    found = engine.figures()
    every = (found.power_w, found.range_m.now, found.time_left_s, found.range_m.best)
    return tuple(not isinstance(one, Unknown) for one in every)


@pytest.mark.parametrize("step_s", [1, 200])
def test_one_frame_of_another_pack_changes_no_figure_and_is_notified(step_s: int) -> None:
    clean = ride(Engine(PROFILE), 0, 200, {0: GOOD}, step_s).figures()
    engine = ride(Engine(PROFILE), 0, 200, {0: GOOD, 5: (10.0, 100, 100.5)}, step_s)
    found = engine.figures()
    assert found.power_w == clean.power_w == 500.0
    assert found.trip == clean.trip
    assert found.wh_per_km == clean.wh_per_km
    assert found.range_m.now == clean.range_m.now
    assert found.battery == clean.battery
    assert notices(engine) == {"source_brief": ("battery 5",)}
    assert found.alerts[0].values["sources"] == ("battery 5",)


def test_a_frame_of_another_pack_at_the_very_start_is_not_a_pack_either() -> None:
    engine = ride(Engine(PROFILE), 0, 60, {0: (10.0, 0.5, 99), 5: (10.0, 0, 0.5)})
    assert engine.figures().power_w == 500.0
    assert notices(engine) == {"source_brief": ("battery 5",)}


def test_a_heavy_pack_that_falls_silent_leaves_power_and_range_unknown_until_it_is_back() -> None:
    engine = ride(Engine(PROFILE), 0, 300, {0: GOOD, 1: GOOD})
    assert known(engine)[:3] == (True, True, True)
    ride(engine, 300, 400, {0: GOOD})
    assert known(engine) == (False, False, False, False)
    found = engine.figures()
    assert found.power_w == Unknown(Reason.POWER_QUIET, source="battery 1", age_s=100.0)
    assert "battery 1" in str(found.range_m.now)
    assert "battery 1" in str(found.battery.left_wh)
    assert "battery 1" in str(found.trip.mean_power_w)
    # Over the part in which both were active.
    assert found.trip.wh_per_km.value == pytest.approx(1000 / 7.2, rel=1e-2)
    # Notified once, by name.
    assert notices(engine) == {"source_silent": ("battery 1",)}
    assert found.alerts[0].code == "source_silent"
    ride(engine, 400, 450, {0: GOOD, 1: GOOD})
    assert known(engine)[:3] == (True, True, True)
    assert "source_silent" not in notices(engine)
    # Its energy meanwhile is bridged.
    assert engine.figures().trip.energy_wh.value == pytest.approx(1000 * 450 / 3600, rel=0.01)


def test_figures_return_once_the_rider_marks_the_pack_as_unplugged() -> None:
    engine = ride(Engine(PROFILE), 0, 300, {0: GOOD, 1: GOOD})
    assert engine.unplug("battery 1") == Refusal(RefusalCode.STILL_HEARD, source="battery 1")
    ride(engine, 300, 400, {0: GOOD})
    assert engine.unplug("battery 7") == Refusal(RefusalCode.NEVER_HEARD, source="battery 7")
    assert engine.unplug("battery 1") is None
    found = engine.figures()
    assert (found.power_w, found.amps_a) == (500.0, 10.0)
    assert isinstance(found.range_m.now, Figure)
    ride(engine, 400, 500, {0: GOOD})
    # Its charge is not known: the energy left still includes it, which is notified for a while.
    assert notices(engine) == {"source_unplugged": ("battery 1",)}
    # Its energy so far stays; since its last sample it gave nothing.
    both_wh, one_wh = 1000 * 299.5 / 3600, 500 * 200 / 3600
    assert engine.figures().trip.energy_wh.value == pytest.approx(both_wh + one_wh, rel=1e-3)
    # One frame does not bring it back, and ten seconds do, without what lies between.
    ride(engine, 500, 600, {0: GOOD, 1: (10.0, 500, 500.5)})
    assert engine.figures().power_w == 500.0
    ride(engine, 600, 700, {0: GOOD, 1: GOOD})
    assert engine.figures().power_w == 1000.0
    assert "source_unplugged" not in notices(engine)
    total_wh = 1000 * (299.5 + 99.5) / 3600 + 500 * 300.5 / 3600
    assert engine.figures().trip.energy_wh.value == pytest.approx(total_wh, rel=1e-3)


def test_the_only_pack_cannot_be_unplugged() -> None:
    engine = ride(ride(Engine(PROFILE), 0, 100, {0: GOOD}), 100, 120, {})
    assert engine.unplug("battery 0").code is RefusalCode.ONLY_ONE


def test_a_negligible_pack_that_falls_silent_is_left_out_and_stays_in_the_sums() -> None:
    packs = {0: GOOD, 1: (0.4, 0, 300)}
    engine = ride(Engine(PROFILE), 0, 400, packs)
    assert engine.figures().power_w == 500.0
    assert notices(engine) == {"source_left_out": ("battery 1",)}
    with_it, without = 20 * 299.5 / 3600, 500 * 399.5 / 3600
    assert engine.figures().trip.energy_wh.value == pytest.approx(with_it + without, rel=1e-6)
    assert isinstance(engine.figures().range_m.now, Figure)


def test_its_share_is_of_the_energy_since_it_was_first_seen() -> None:
    # Under 5 % of the trip, half of all while it was there.
    engine = ride(Engine(PROFILE), 0, 1000, {0: GOOD, 1: (10.0, 900, 940)})
    assert engine.figures().power_w == Unknown(Reason.POWER_QUIET, source="battery 1", age_s=60.0)


def test_a_pack_that_comes_later_counts_from_then_and_takes_nothing_from_the_others() -> None:
    engine = ride(Engine(PROFILE), 0, 1200, {0: GOOD, 1: (10.0, 900, 9999)}, 100)
    found = engine.figures()
    assert found.power_w == 1000.0
    energy_wh = 500 * (1199.5 + 299.5) / 3600
    assert found.trip.energy_wh.value == pytest.approx(energy_wh, rel=1e-6)
    # Of the whole trip, not since it came.
    assert found.trip.wh_per_km.value == pytest.approx(energy_wh / 2.399, rel=2e-3)
    joined = next(event for event in engine.events if event.alert.code == "source_joined")
    assert joined.t_s == 910.0
    assert joined.alert.values["sources"] == ("battery 1",)


def test_when_all_fall_silent_together_no_single_pack_is_reported() -> None:
    engine = ride(Engine(PROFILE), 0, 200, {0: GOOD, 1: GOOD})
    ride(engine, 260, 400, {0: GOOD, 1: GOOD})
    assert known(engine)[:3] == (True, True, True)
    assert not [event for event in engine.events if event.alert.code.startswith("source")]


SUMMARY = {"volts_v": 50.0, "amps_a": 10.0}


def test_the_summary_stands_in_for_a_single_pack_and_never_for_several() -> None:
    engine = ride(Engine(PROFILE), 0, 200, {0: GOOD}, power=SUMMARY)
    ride(engine, 200, 300, {}, power=SUMMARY)
    assert engine.figures().power_w == 500.0
    assert engine.figures().trip.energy_wh.value == pytest.approx(500 * 299.5 / 3600)
    engine = ride(Engine(PROFILE), 0, 200, {0: GOOD, 1: GOOD}, power=SUMMARY)
    ride(engine, 200, 1000, {}, power=SUMMARY)
    assert isinstance(engine.figures().power_w, Unknown)
    assert engine.figures().trip.energy_wh.value == pytest.approx(1000 * 199.5 / 3600)


def test_one_frame_of_a_receiver_without_a_fix_does_not_take_the_speed() -> None:
    engine = Engine(PROFILE)
    t_s = np.arange(0, 200.0, 0.5)
    stray = np.array([100.0])
    engine.fold(Block({"fused": channel("fused", t_s[:200], east_mps=2.0, north_mps=0.0)}))
    engine.fold(Block({"gps": channel("gps", stray, fix=1)}))
    power = channel("power", t_s, volts_v=50.0, amps_a=10.0)
    fused = channel("fused", t_s[200:], east_mps=2.0, north_mps=0.0)
    engine.fold(Block({"fused": fused, "power": power}))
    assert engine.figures().speed_mps == 2.0
    assert notices(engine) == {"source_brief": ("GPS receiver",)}


def test_a_receiver_that_falls_silent_is_not_replaced_until_it_is_unplugged() -> None:
    engine = Engine(PROFILE)
    t_s = np.arange(0, 300.0, 0.5)
    active = t_s < 200
    fused = channel("fused", t_s, east_mps=2.0, north_mps=0.0)
    gps = channel("gps", t_s[active], fix=3, speed_mps=2.0, course_deg=90.0)
    engine.fold(Block({"fused": fused, "gps": gps}))
    assert engine.figures().speed_mps == Unknown(
        Reason.SPEED_QUIET, source="GPS receiver", age_s=100.0
    )
    assert engine.unplug("GPS receiver") is None
    assert engine.figures().speed_mps == 2.0
    assert engine.figures().trip.distance_m.value == pytest.approx(599, rel=2e-3)


def drive(engine: Engine, begin_s: int, end_s: int, *motors: int) -> None:
    t_s = np.repeat(np.arange(begin_s, end_s, 0.5), len(motors))
    which = np.tile(np.array(motors, float), (end_s - begin_s) * 2)
    engine.fold(
        Block(
            {
                "drive": channel("drive", t_s, motor=which, rpm=1000 + which, erpm=7 * which),
                "attitude": channel("attitude", np.arange(begin_s, end_s, 0.5)),
            }
        )
    )


def test_one_frame_of_another_drive_is_not_the_motor() -> None:
    engine = Engine(PROFILE)
    drive(engine, 0, 60, 1)
    stray = {"motor": 0.0, "rpm": 9999.0, "temperature_degc": 120.0}
    engine.fold(Block({"drive": channel("drive", np.array([60.0]), **stray)}))
    assert engine.figures().drive.rpm == 1001.0
    assert isinstance(engine.figures().drive.temperature_degc, Unknown)
    drive(engine, 60, 120, 1)
    assert engine.figures().drive.rpm == 1001.0


def test_a_motor_that_falls_silent_is_named_and_another_is_not_shown_for_it() -> None:
    engine = Engine(PROFILE)
    drive(engine, 0, 60, 0, 1)
    assert engine.figures().drive.rpm == 1000.0
    drive(engine, 60, 90, 1)
    assert engine.figures().drive == Unknown(Reason.MOTOR_QUIET, motor=0, age_s=30.0)
    assert engine.unplug("motor 0") is None
    assert engine.figures().drive.rpm == 1001.0
    drive(engine, 90, 100, 0, 1)
    assert engine.figures().drive.rpm == 1000.0
