"""Alerts of cells, heat and weed from blocks to the figures beside them."""

import numpy as np

from onboard.block import Block
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile
from tests.onboard.efficiency.made_channels import channel

PROFILE = Profile(battery=Battery("li-ion", 14, 40.0, resistance_ohm=0.02))


def ride(seconds: int, power_w, *, speed_mps=2.0, low_v=3.7, throttle=0.5, rpm=np.nan) -> Block:
    """Return a straight ride of which cells, throttle and revs are reported."""
    t_s = np.arange(0.0, seconds, 0.5)
    at = (t_s // 1).astype(int)
    power, speed, revs, lowest = (
        np.broadcast_to(np.asarray(one, float), seconds)[at]
        for one in (power_w, speed_mps, rpm, low_v)
    )
    gps = channel("gps", t_s, fix=3.0, speed_mps=speed, course_deg=90.0)
    battery = channel(
        "battery", t_s, pack=0.0, volts_v=52.0, amps_a=power / 52.0, cells=14.0, low_cell=9.0,
        low_cell_v=lowest, high_cell_v=3.75,
    )  # fmt: skip
    hud = channel("hud", t_s, speed_mps=speed, throttle_fraction=throttle)
    drive = channel("drive", t_s, motor=0.0, rpm=revs, volts_v=50.0)
    return Block({"battery": battery, "gps": gps, "hud": hud, "drive": drive})


def raised(block: Block) -> dict[str, dict]:
    engine = Engine(PROFILE)
    engine.fold(block)
    return {event.alert.code: dict(event.alert.values) for event in engine.events}


def test_a_ride_in_order_raises_nothing() -> None:
    assert raised(ride(900, 400.0, rpm=1000.0)) == {}


def test_a_low_cell_is_raised_with_its_number() -> None:
    found = raised(ride(300, 400.0, low_v=np.where(np.arange(300) < 200, 3.7, 3.05)))
    assert found["cell_low"] == {"cell": 9, "source": "battery 0", "cell_v": 3.05}
    assert found["cells_uneven"]["cell"] == 9


def test_a_drive_that_cuts_back_is_raised() -> None:
    share = np.where(np.arange(600) < 300, 1.0, 0.75)
    found = raised(ride(600, 400.0 * share, speed_mps=2.0 * share ** (1 / 3)))
    assert set(found) == {"heat_limiting"}


def test_weed_on_the_propeller_is_raised_and_ends_with_its_set_up() -> None:
    engine = Engine(PROFILE)
    weed = np.where(np.arange(600) < 400, 1.0, 1.3)
    engine.fold(ride(600, 400.0 * weed, rpm=1000.0))
    assert {alert.code for alert in engine.figures().alerts} == {"weed"}
    engine.select_setup("clean one")
    assert engine.figures().alerts == ()
