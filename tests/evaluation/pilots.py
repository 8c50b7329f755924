"""Riders who decide by the engine, or by Wh left over mean Wh/km."""

from typing import Any, Protocol

import numpy as np

from onboard.block import Block
from onboard.contract.alerts import AlertCode
from tests.craft.chance import generator
from tests.craft.rider import Leg
from tests.evaluation.rides import ride_for, start
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.world import Stated, World, draw

NOMINAL_CELL_V = {"lfp": 3.2, "li-ion": 3.7}
"""Nominal cell voltage, as printed on cells [V]."""


class Pilot(Protocol):
    """Decides when to turn back, and how fast to go home."""

    def observe(self, block: Block) -> None:
        """Observe the block since the last call."""

    def turn_back(self, home_m: float) -> bool | None:
        """Return whether to turn back now; None if unknown."""

    def ease(self) -> bool:
        """Return whether to use less power than now."""

    def home_speed_mps(self) -> float | None:
        """Return the speed over ground for the way home; None for the speed of the way out."""


class ByEngine:
    """Follows the engine."""

    def __init__(self, stated: Stated, kept: dict[str, Any] | None = None) -> None:
        self._engine = engine(stated, kept)
        self._figures: Any = None
        self._known = False

    def observe(self, block: Block) -> None:
        """Fold a block."""
        self._engine.fold(block)
        self._figures = None

    def _figure(self, path: str) -> dict[str, Any]:
        """Return a figure as of the last block; all are computed on demand."""
        if self._figures is None:
            self._figures = self._engine.figures()
        return figure(self._figures, path)

    def turn_back(self, home_m: float) -> bool | None:
        """Return the engine's advice."""
        if not self._known:
            self._known = "value" in self._figure("home.turn_back")
        # The figure's own source, which is cheaper than all figures.
        return self._engine.adviser.home.turn_back if self._known else None

    def ease(self) -> bool:
        """Return whether the engine warns that the voltage nears the cut-off."""
        if not any(event.alert.code is AlertCode.NEAR_CUTOFF for event in self._engine.events):
            return False
        self._figure("t_s")
        return any(alert.code is AlertCode.NEAR_CUTOFF for alert in self._figures.alerts)

    def home_speed_mps(self) -> float | None:
        """Return the engine's advice."""
        speed = self._figure("home.speed_mps").get("value")
        return None if speed is None else float(speed)


class ByRatio:
    """Divides the energy left above the reserve by the trip's mean Wh/km.

    Uses the nominal pack, and current and speed as reported, without corrections.
    """

    def __init__(self, stated: Stated) -> None:
        full_wh = stated.capacity_ah * stated.cells * NOMINAL_CELL_V[stated.chemistry]
        self._left_wh = full_wh * (stated.start_fraction - stated.reserve_fraction)
        self._used_wh = self._made_m = 0.0

    def observe(self, block: Block) -> None:
        """Add up energy and distance."""
        battery, gps = block.get("battery"), block.get("gps")
        if battery is None or gps is None or len(battery) < 1 or len(gps) < 1:
            return
        seconds_s = len(gps) * 0.2
        self._used_wh += float(np.mean(battery["volts_v"] * battery["amps_a"])) * seconds_s / 3600.0
        self._made_m += float(np.mean(gps["speed_mps"])) * seconds_s

    def turn_back(self, home_m: float) -> bool | None:
        """Return whether the range is down to the distance home."""
        if self._made_m < 200.0:
            return False
        range_m = (self._left_wh - self._used_wh) / self._used_wh * self._made_m
        return range_m <= home_m

    def ease(self) -> bool:
        """Return False: the ratio says nothing of the voltage."""
        return False

    def home_speed_mps(self) -> float | None:
        """Return None: the speed of the way out."""
        return None


EARLIER_POWERS = (0.12, 0.25, 0.45, 0.7, 0.95)
EARLIER_LEG_S = 120.0
"""Duration of a leg of the earlier ride [s], which is the first ride that README.md recommends:
steady stretches at a few speeds, to and fro."""


def earlier_curve(world: World) -> dict[str, Any]:
    """Return an engine's state after an earlier ride of 20 minutes: same craft, other water."""
    other = draw(world.seed + 500_000_009, world.name)
    before = World(
        world.name,
        other.seed,
        world.most_w,
        type(world.ride)(
            world.craft, other.ride.water, other.ride.rider, other.ride.plan,
            world.ride.latitude_deg, world.ride.longitude_deg,
        ),
        world.sensors,
        world.stated,
    )  # fmt: skip
    voyage, telemetry = start(before)
    course_deg = float(generator(other.seed, "rider").uniform(0.0, 360.0))
    for share in EARLIER_POWERS:
        for turned in (0.0, 180.0):
            course = (course_deg + turned) % 360.0
            voyage.begin(Leg("steady", 0.0, course, power_w=share * world.most_w, ramp_s=5.0))
            if ride_for(voyage, EARLIER_LEG_S, 0.05, world.stated.cutoff_v):
                break
    tested = engine(world.stated)
    tested.fold(telemetry.block())
    return tested.saved_state()
