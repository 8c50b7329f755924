"""Rides for the alarms: in order, with hands that fidget and ease; and with one fault each.

The weather is that of all worlds: wind rises and turns in some, and the water moves. A fault comes
in the middle of a leg, where nothing else changes.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from onboard.block import Block
from onboard.efficiency.battery.cell_voltages import most_apart_v
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from tests.craft.battery import rest_energy_wh
from tests.craft.chance import generator
from tests.craft.craft import Craft
from tests.craft.rider import Leg
from tests.craft.steady import calm_power_w
from tests.craft.voyage import Voyage
from tests.craft.water import Water
from tests.evaluation.dash import CellSpread, Dash, cell_volts, drawn_cells
from tests.evaluation.pilots import earlier_curve
from tests.evaluation.riders import (
    DUTY,
    HOLDS,
    KINDS,
    LEG_S,
    MOTOR_CURRENT,
    Manner,
    begun,
    drawn,
    held,
)
from tests.evaluation.rides import ride_for
from tests.evaluation.world import World, calm_speed_mps, draw

HEALTHY, HEAT, WEED, DRAG, CELL, UNEVEN = "healthy", "heat", "weed", "drag", "cell", "uneven"

LASTS_S = (1200.0, 9000.0)
"""How long a ride in order lasts, if the pack does [s]."""

DRIFT_CHANCE, DRIFT_S = 0.08, (30.0, 400.0)
"""How often, in place of a leg, the craft drifts with the drive off, and how long [s]."""

FIDGETS_CHANCE, FIDGET_S, FIDGET_SD = 0.5, 60.0, 0.012
"""Share of hands that never rest; mean time between their corrections [s], and their size."""

EASES_CHANCE, EASE_SD = 0.25, 0.1
"""Share of legs over which the hand eases or opens slowly, and by how much."""

HEAT_SHARE, HEAT_RAMP_S, HEAT_DUE = (0.22, 0.5), (60.0, 480.0), 0.2
"""Power that a hot drive cuts back, the time it takes [s], and the share from which it is due."""

WEED_SHARE = (0.15, 0.6)
"""Power that weed costs at a speed, more."""


@dataclass(frozen=True)
class AlarmRide:
    """A ride, what its sensors sent, and what was true."""

    world: World
    kind: str
    saved: dict[str, Any] | None
    """State of an engine that learned the craft on an earlier ride."""
    block: Block
    hours: float
    fault_s: tuple[float, float] | None
    """When the fault began, and when it is due to be reported [s]."""
    columns: dict[str, Any]
    """The truth, step by step."""
    low_cell_v: Any
    """True voltage of the lowest cell at each step."""
    pack_v: Any
    """The pack's voltage, or the sum of its cells where that is lower, as one gives out."""

    @property
    def start_off(self) -> float:
        """Charge at the start beyond what the owner states."""
        return self.world.craft.battery.start_fraction - self.world.stated.start_fraction


class Hand:
    """A rider's hand on the throttle, which scales what a leg holds."""

    def __init__(
        self, world: World, manner: Manner, voyage: Voyage, dash: Dash, rng: np.random.Generator
    ) -> None:
        self.world, self.manner, self.voyage, self.rng = world, manner, voyage, rng
        self._dash = dash
        self._fidgets = rng.random() < FIDGETS_CHANCE
        self._leg = voyage.leg
        self._scale = self._passed_on = 1.0
        self.cuts: Callable[[float], float] | None = None
        """Share of the throttle that the drive passes on, by time; None while it passes all."""
        self.until_charge = 0.02
        self.ended = False

    def begin(self, leg: Leg) -> None:
        """Begin a leg."""
        self._leg, self._scale = leg, 1.0
        self._move(leg.ramp_s)

    def leg(self) -> Leg:
        """Draw the next leg; to and fro it keeps its course."""
        course = None if self.manner.axis_deg is None else self.voyage.leg.course_deg
        return self.manner.leg(self.world, self.rng, course)

    def ride(self, seconds_s: float) -> None:
        """Ride on, fidgeting or easing, until the time is up or the pack gives out."""
        spent_s, eased = 0.0, 0.0
        if self.rng.random() < EASES_CHANCE and self.cuts is None:
            eased = float(self.rng.normal(0.0, EASE_SD))
        while spent_s < seconds_s and not self.ended:
            fidgets = self._fidgets and not eased
            step_s = float(self.rng.exponential(FIDGET_S)) if fidgets else 20.0
            step_s = min(max(step_s, 3.0), 5.0 if self.cuts else math.inf, seconds_s - spent_s)
            self.go(step_s)
            spent_s += step_s
            if eased:
                self._scale = math.exp(eased * spent_s / seconds_s)
            elif fidgets and (self.cuts is None or self.rng.random() < step_s / FIDGET_S):
                self._scale = math.exp(float(self.rng.normal(0.0, FIDGET_SD)))
            if self.cuts is not None:
                self._passed_on = self.cuts(self.voyage.time_s)
                self._dash.passed_on[self.voyage.index] = self._passed_on
            if not self.ended and (eased or self._fidgets or self.cuts):
                self._move(1.0)

    def go(self, seconds_s: float) -> None:
        """Ride on without moving a hand."""
        cutoff_v = self.world.stated.cutoff_v
        self.ended = self.ended or ride_for(self.voyage, seconds_s, self.until_charge, cutoff_v)
        self.ended = self.ended or self.voyage.index >= self.voyage.count

    def _move(self, ramp_s: float) -> None:
        leg, scale = replace(self._leg, ramp_s=ramp_s), self._scale
        course = leg.course_deg if self.manner.axis_deg is None else self.voyage.leg.course_deg
        changed = {
            "power_w": (leg.power_w, scale**3),
            "speed_mps": (leg.speed_mps, scale),
            "duty": (leg.duty, scale * self._passed_on),
            "motor_amps_a": (leg.motor_amps_a, scale**2 * self._passed_on),
        }
        values: dict[str, Any] = {
            name: value * by for name, (value, by) in changed.items() if value is not None
        }
        if "duty" in values:
            values["duty"] = min(values["duty"], 1.0)
        self.voyage.begin(replace(leg, course_deg=course, **values))


def alarm_ride(seed: int, craft: str | None, variant: str) -> AlarmRide:
    """Make a ride of a variant; its rider's kind goes with the seed."""
    world, rng = draw(seed, craft), generator(seed, "rider")
    kinds = {HEALTHY: KINDS, HEAT: (DUTY, MOTOR_CURRENT)}.get(variant, HOLDS)
    kind = kinds[seed % len(kinds)]
    world, manner = drawn(world, kind, rng)
    saved = earlier_curve(world) if rng.random() < 0.5 else None
    voyage, telemetry = begun(world, manner)
    cells = drawn_cells(world.craft.battery.cells, seed)
    if variant in {CELL, UNEVEN}:
        cells = _with_fault(cells, variant, rng)
    reported = cells if variant in {CELL, UNEVEN} or rng.random() < 0.6 else None
    most_a = world.extras.most_motor_amps_a
    dash = Dash(voyage, seed, most_a, bool(rng.random() < 0.5), reported)
    hand = Hand(world, manner, voyage, dash, rng)
    rides: dict[str, Callable[[Hand], tuple[float, float] | None]] = {
        HEALTHY: _in_order,
        HEAT: _heat,
        WEED: lambda hand: _weed(hand, _with_weed),
        DRAG: lambda hand: _weed(hand, _with_drag),
    }
    fault_s = rides.get(variant, _to_empty)(hand)
    columns = voyage.columns()
    volts = cell_volts(world.craft.battery, cells, columns)
    if variant == CELL:
        fault_s = _first(volts.min(axis=1) < 1.02 * world.stated.cutoff_v / volts.shape[1], 3.0)
    if variant == UNEVEN:
        fault_s = _first(_apart(world, volts, columns["amps_a"]), 40.0)
    block = dash.extend(telemetry.block())
    hours = voyage.time_s / 3600.0
    pack_v = np.minimum(columns["volts_v"], volts.sum(axis=1))
    return AlarmRide(world, kind, saved, block, hours, fault_s, columns, volts.min(axis=1), pack_v)


def _in_order(hand: Hand) -> None:
    lasts_s = float(hand.rng.uniform(*LASTS_S))
    while not hand.ended and hand.voyage.time_s < lasts_s:
        leg = hand.leg()
        if hand.rng.random() < DRIFT_CHANCE:
            hand.voyage.begin(Leg("adrift", 0.0, leg.course_deg, power_w=0.0))
            hand.go(float(hand.rng.uniform(*DRIFT_S)))
            continue
        hand.begin(leg)
        hand.ride(float(hand.rng.uniform(*LEG_S[hand.manner.often])))


def _heat(hand: Hand) -> tuple[float, float] | None:
    """Hold a throttle until the drive cuts back, slowly or in steps."""
    rng, voyage = hand.rng, hand.voyage
    power_w = hand.world.most_w * float(rng.uniform(0.5, 0.95))
    course = float(rng.uniform(0.0, 360.0))
    hand.begin(replace(held(hand.world, hand.manner.holds[0], power_w), course_deg=course))
    hand.go(float(rng.uniform(240.0, 900.0)))
    began_s, share = voyage.time_s, float(rng.uniform(*HEAT_SHARE))
    over_s, steps = float(rng.uniform(*HEAT_RAMP_S)), int(rng.integers(0, 5))
    # What P goes with: the cube of a duty, and 3/2 of a current, which goes with its square.
    power = 2.8 if hand.manner.holds[0] == DUTY else 1.5

    def cut(t_s: float) -> float:
        done = min((t_s - began_s) / over_s, 1.0)
        return share * (min(math.ceil(done * steps + 1e-9), steps) / steps if steps else done)

    hand.cuts = lambda t_s: (1.0 - cut(t_s)) ** (1.0 / power)
    hand.ride(900.0)
    due_s = next(began_s + t for t in range(1000) if cut(began_s + t) >= HEAT_DUE)
    return (began_s, due_s) if voyage.time_s > due_s + 200.0 else None


def _weed(
    hand: Hand, fouled: Callable[[Craft, str, float, float], Craft]
) -> tuple[float, float] | None:
    """Ride legs and learn; catch weed in the middle of the last one."""
    rng, voyage, world = hand.rng, hand.voyage, hand.world
    powers = world.most_w * rng.permutation([0.2, 0.35, 0.5, 0.75, 0.95])[: int(rng.integers(2, 5))]
    for power_w in powers.tolist():
        course = float(rng.uniform(0.0, 360.0))
        for turned in (0.0, 180.0):
            leg = held(world, hand.manner.holds[0], power_w)
            hand.begin(replace(leg, course_deg=(course + turned) % 360.0))
            hand.ride(float(rng.uniform(100.0, 240.0)))
    power_w = float(rng.uniform(min(powers), min(max(powers), 0.75 * world.most_w)))
    leg = held(world, hand.manner.holds[0], power_w)
    hand.begin(replace(leg, course_deg=float(rng.uniform(0.0, 360.0))))
    hand.go(float(rng.uniform(180.0, 600.0)))
    began_s, more = voyage.time_s, float(rng.uniform(*WEED_SHARE))
    voyage.ride = replace(voyage.ride, craft=fouled(world.craft, world.name, power_w, more))
    hand.go(500.0)
    return (began_s, began_s) if voyage.time_s > began_s + 320.0 else None


def _with_weed(craft: Craft, _name: str, _power_w: float, more: float) -> Craft:
    """Return the craft with weed on its propeller, which takes more torque at any revs."""
    torque = (1.0 + craft.propeller.torque_excess_fraction) * (1.0 + more) - 1.0
    return replace(craft, propeller=replace(craft.propeller, torque_excess_fraction=torque))


def _with_drag(craft: Craft, name: str, power_w: float, more: float) -> Craft:
    """Return the craft with something in tow, so that a speed takes more power by this share."""
    speed_mps = calm_speed_mps(name, power_w)
    low, high = 1.0, 6.0
    dragged = craft
    for _ in range(25):
        middle = 0.5 * (low + high)
        area_m2 = craft.hull.wetted_area_m2 * middle
        dragged = replace(craft, hull=replace(craft.hull, wetted_area_m2=area_m2))
        takes_w = calm_power_w(dragged, Water(), speed_mps) - craft.hotel_w
        if takes_w < (1.0 + more) * power_w:
            low = middle
        else:
            high = middle
    return dragged


def _to_empty(hand: Hand) -> None:
    while not hand.ended:
        hand.begin(hand.leg())
        hand.ride(float(hand.rng.uniform(*LEG_S[hand.manner.often])))


def _with_fault(cells: CellSpread, variant: str, rng: np.random.Generator) -> CellSpread:
    """Return cells of which one is weak, or stands apart by its charge or resistance."""
    number = int(rng.integers(len(cells.charge)))
    if variant == CELL:
        return cells.with_cell(number, 0.0, float(rng.uniform(0.55, 0.8)), 1.0)
    if rng.random() < 0.5:
        return cells.with_cell(number, -float(rng.uniform(0.2, 0.4)), 1.0, 1.0)
    return cells.with_cell(number, 0.0, 1.0, float(rng.uniform(4.0, 8.0)))


def _apart(world: World, volts: Any, amps_a: Any) -> Any:
    """Return where the cells are a tenth more apart than stated of a pack in order."""
    stated = world.stated
    most_v = most_apart_v(
        OCV_CURVES[stated.chemistry], volts.mean(axis=1), np.abs(amps_a) / stated.capacity_ah
    )
    return np.ptp(volts, axis=1) > 1.1 * most_v


def _first(holds: Any, lasts_s: float) -> tuple[float, float] | None:
    """Return zero and when a condition first held for a while [s]; None if it never did."""
    steps = round(lasts_s / 0.2)
    through = np.convolve(holds, np.ones(steps), "valid") > steps - 0.5
    return (0.0, float(np.argmax(through)) * 0.2) if through.any() else None


def left_fraction(ride: AlarmRide, at: int) -> float:
    """Return the true energy left above the reserve at a step, as a share of full."""
    pack = ride.world.craft.battery
    left = rest_energy_wh(pack, float(ride.columns["charge_fraction"][at]))
    return left / rest_energy_wh(pack, 1.0) - ride.world.stated.reserve_fraction
