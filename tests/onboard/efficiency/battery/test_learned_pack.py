"""What outlasts a ride is of one pack and its sensors; with others only the charge remains."""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from onboard.efficiency.battery.learned_pack import (
    carried_over,
    forgotten,
    with_origin,
    without_learned,
)
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, START
from onboard.profile import Battery, Profile, Sensors
from tests.onboard.efficiency.battery.made_packs import LI_ION, fraction, load, rest

SENSORS = Sensors(current_scale=1.1, current_offset_a=-0.2)
PROFILE = Profile(battery=LI_ION, sensors=SENSORS)


def ridden(put_ah: float | None = 10.3) -> dict[str, Any]:
    """Return the state after a ride from full, a charge, a short ride and a rest."""
    pack = Pack(LI_ION, SENSORS)
    pack.charged_full()
    pack.fold(load(LI_ION, np.tile(np.repeat([5.0, 15.0], 60), 30)))
    if put_ah is not None:
        pack.charged(("charged_ah", put_ah))
        pack.charged_full()
    pack.fold(load(LI_ION, np.full(1800, 10.0), begin_s=3600.0, drawn_ah=10.0))
    pack.fold(rest(LI_ION, 0.75, 600, begin_s=5400.0, drawn_ah=15.0))
    clocks = {"boot_s": 7000.0, "utc_s": 1.75e9, "counter_ah": 15.0}
    saved = {"battery": with_origin(pack.as_dict(), PROFILE, PROFILE), "clocks": clocks}
    return json.loads(json.dumps(saved))


def resumed(profile: Profile, saved: dict[str, Any]) -> tuple[Profile, Pack]:
    counted, carried = carried_over(profile, saved)
    pack = Pack(counted.battery, counted.sensors)
    pack.resume(carried["battery"], Away(0.0))
    return counted, pack


def test_the_sensor_is_corrected_by_the_charger_from_the_next_ride_on() -> None:
    saved = ridden()
    counted, pack = resumed(PROFILE, saved)
    # 10.3 put back for 10 counted, a quarter of a per cent of the pack for what was unlogged.
    gain = counted.sensors.current_scale / 1.1 - 1.0
    assert 0.005 < gain < 0.0237
    assert counted.sensors.current_offset_a == pytest.approx(-0.2 * (1 + gain))
    assert counted.sensors.current_scale_sd < 0.017
    assert counted.sensors.current_scale_sd == pytest.approx(np.sqrt(pack.covariance[GAIN, GAIN]))
    assert pack.learned().current_scale.value == pytest.approx(1.1 * (1 + gain))
    assert pack.learned().charges == 1
    # The counter, read with the old scale, is brought to the new one.
    _, carried = carried_over(PROFILE, saved)
    assert carried["clocks"]["counter_ah"] == pytest.approx(15.0 * (1 + gain))
    # Nothing but the charger corrects the sensor.
    assert resumed(PROFILE, ridden(None))[0].sensors == SENSORS


def test_what_was_learned_goes_on_from_ride_to_ride_and_is_applied_once() -> None:
    saved = ridden()
    for _ in range(3):
        counted, pack = resumed(PROFILE, saved)
        again = with_origin(pack.as_dict(), PROFILE, counted)
        # Not used: saved as it was, with the correction that it was counted with.
        assert again == saved["battery"]
    pack.fold(load(LI_ION, np.full(60, 10.0)))
    used = with_origin(pack.as_dict(), PROFILE, counted)
    after, _ = resumed(PROFILE, json.loads(json.dumps({"battery": used})))
    assert after.sensors.current_scale == pytest.approx(counted.sensors.current_scale)
    assert after.sensors.current_scale_sd == pytest.approx(counted.sensors.current_scale_sd)


@pytest.mark.parametrize(
    "other",
    [
        replace(PROFILE, battery=replace(LI_ION, capacity_ah=30.0)),
        replace(PROFILE, battery=replace(LI_ION, cells=13)),
        replace(PROFILE, battery=replace(LI_ION, capacity_sd=0.01)),
        replace(PROFILE, battery=Battery("lfp", 14, 25.0, resistance_ohm=0.05)),
        replace(PROFILE, sensors=replace(SENSORS, current_scale=1.12)),
        replace(PROFILE, sensors=replace(SENSORS, current_scale_sd=0.005)),
    ],
)
def test_another_pack_or_other_sensors_forget_all_but_the_charge(other: Profile) -> None:
    saved = ridden()
    assert abs(saved["battery"]["capacity_error"]) > 1e-4
    counted, pack = resumed(other, saved)
    assert counted == other
    fresh = Pack(other.battery, other.sensors)
    assert fraction(pack) == pytest.approx(saved["battery"]["fraction"])
    before = saved["battery"]["covariance"][START][START]
    assert pack.covariance[START, START] == pytest.approx(before)
    assert pack.count.state.mean[CAPACITY] == 0.0
    assert np.diag(pack.covariance)[1:] == pytest.approx(np.diag(fresh.covariance)[1:])
    known = pack.learned()
    assert (known.rests, known.charges) == (0, 0)
    assert known.current_scale.value == other.sensors.current_scale
    assert pack.as_dict()["resistance"] is None
    scale = other.sensors.current_scale / 1.1
    assert carried_over(other, saved)[1]["clocks"]["counter_ah"] == pytest.approx(15.0 * scale)


@pytest.mark.parametrize(
    "same", [{"reserve_fraction": 0.3}, {"cutoff_v": 43.0}, {"start_fraction": 0.9}]
)
def test_other_settings_of_the_battery_forget_nothing(same: dict[str, float]) -> None:
    _, pack = resumed(replace(PROFILE, battery=replace(LI_ION, **same)), ridden())
    assert pack.learned().charges == 1
    assert pack.count.state.mean[CAPACITY] != 0.0


def test_forgetting_twice_is_forgetting_once_and_a_state_of_old_is_read() -> None:
    battery = ridden()["battery"]
    assert forgotten(forgotten(battery)) == forgotten(battery)
    assert without_learned({"curves": 1, "battery": battery})["battery"] == forgotten(battery)
    assert without_learned({"battery": None}) == {"battery": None}
    # Saved before any of this: five errors, and nothing of whose they are.
    old = {
        "since_anchor_fraction": 0.1, "fraction": 0.6, "capacity_error": -0.1,
        "covariance": np.diag([0.03, 0.03, 0.02, 0.02, 0.005]).tolist(), "contradicted": False,
    }  # fmt: skip
    _, pack = resumed(PROFILE, {"battery": old})
    assert fraction(pack) == pytest.approx(0.6)
    assert pack.covariance[START, START] == pytest.approx(0.03)


@pytest.mark.parametrize(
    "spoilt", [[], {"of": None}, {"covariance": [[-1.0]]}, {"covariance": []}, "full"]
)
def test_a_spoilt_state_is_refused(spoilt: Any) -> None:
    with pytest.raises(ValueError, match="kept"):
        carried_over(PROFILE, {"battery": spoilt})


@pytest.mark.parametrize("scale", [None, "1", 0.0, 50.0])
def test_an_impossible_scale_is_refused(scale: Any) -> None:
    saved = ridden()
    saved["battery"]["current_scale"] = scale
    with pytest.raises(ValueError, match="kept current scale"):
        carried_over(PROFILE, saved)


def test_without_a_battery_or_a_state_nothing_is_carried() -> None:
    assert carried_over(PROFILE, None) == (PROFILE, None)
    assert carried_over(Profile(), ridden())[0] == Profile()
    assert carried_over(PROFILE, {"battery": None}) == (PROFILE, {"battery": None})
