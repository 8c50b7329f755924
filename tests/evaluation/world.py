"""The draw for a ride: the true craft, weather and sensors, and the owner's statement of them."""

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from tests.craft.battery import REFERENCE_DEGC, Battery
from tests.craft.chance import generator
from tests.craft.craft import Craft, Ride
from tests.craft.crafts import CRAFTS
from tests.craft.rider import Leg, Rider, Steer
from tests.craft.sensors import Sensors
from tests.craft.steady import calm_power_w
from tests.craft.water import Water
from tests.evaluation.blocks import Extras

MOST_W = {"skiff": 1000.0, "board": 850.0, "launch": 850.0, "tender": 550.0}
"""Highest power demanded by the rider [W]: available down to the voltage cut-off."""

CELLS = {"li-ion": ("Chen2020", "Mohtat2020", "Ai2020"), "lfp": ("Prada2013",)}
"""Published cells with the usual end voltages; see tests/data/README.md."""

LFP_SHIFT_SD_V = 0.008
"""Standard deviation of LFP cells about the one published curve [V]. Common practice, no source."""

CUTOFF_CELL_V = {"li-ion": 3.0, "lfp": 2.5}

SOURCES = ("start", "capacity", "gain", "offset", "voltage", "velocity", "current", "shape")
"""Errors that can be switched off: charge at the start, full charge, gain and zero of the current
sensor, voltage gain, velocity noise, variation of the water current, spread of cell curves."""

COLD_DEGC, COLD_CHANCE = (-5.0, 5.0), 0.15
WARM_DEGC = (8.0, 28.0)
"""Temperatures of the pack at the start, and how often it is cold."""

COLD_LOSS_PER_K, COLD_CAPACITY_SD = (0.001, 0.005), 0.08
"""Charge that a cold pack loses per kelvin below `REFERENCE_DEGC`; and how well its owner knows it
then, who states the label's. Common practice, no source: up to an eighth less at 0 degC."""

COLD_GROWTH_PER_K, EMPTY_GROWTH = (0.025, 0.04), (0.3, 1.2)
"""Growth of resistance in the cold and at low charge. Common practice, no source: two to three
times as much at 0 degC as at 25 degC, and up to twice as much near empty."""

SLOW_S, SLOWER_S, SLOWER_SHARE = (20.0, 45.0), (600.0, 1200.0), (0.2, 0.5)
"""Time constants of the pack, and resistance of the slower one over the instantaneous. Common
practice, no source."""

QUICK_TO_SLOW = 2.5
"""Ratio of the quickest rider's response time to the middle one's, and of that to the slowest's."""

RISE_MPS_PER_H, TURN_DEG_PER_H = (1.0, 5.0), 60.0
"""Rates at which wind rises in a third of the worlds and turns, at most, in half of them."""

THROTTLE_CHANCE, PACK_DEGC_CHANCE = 0.5, 0.5
"""How often throttle and temperature of the pack are in the telemetry."""

REST_S = 20.0
"""Time made fast with the drive off before a ride begins [s]."""


@dataclass(frozen=True)
class Stated:
    """The owner's profile, with one standard deviation for each quantity."""

    chemistry: str
    cells: int
    capacity_ah: float
    start_fraction: float
    reserve_fraction: float
    cutoff_v: float
    resistance_ohm: float | None = None
    start_sd: float = 0.02
    capacity_sd: float = 0.03
    current_scale_sd: float = 0.02
    current_offset_sd_a: float = 0.02
    voltage_scale_sd: float = 0.005


@dataclass(frozen=True)
class World:
    """One draw."""

    name: str
    seed: int
    most_w: float
    ride: Ride
    sensors: Sensors
    stated: Stated
    extras: Extras = field(default_factory=Extras)

    @property
    def craft(self) -> Craft:
        """The true craft."""
        return self.ride.craft


def draw(seed: int, name: str | None = None, without: frozenset[str] = frozenset()) -> World:
    """Draw a world, and its craft if `name` is None.

    Errors in `without` are zero, and stated as zero. All other draws are unchanged.
    """
    rng = generator(seed, "world")
    names = sorted(CRAFTS)
    chosen = names[int(rng.integers(len(names)))]
    chosen = name or chosen
    kept = {source: 0.0 if source in without else 1.0 for source in SOURCES}
    size = {source: float(rng.standard_normal()) * kept[source] for source in SOURCES}
    nominal = CRAFTS[chosen]
    pack, stated = _pack(nominal.battery, rng, size, kept)
    pack, stated = _real_pack(pack, stated, generator(seed, "pack"))
    telling = generator(seed, "telling")
    sensors = Sensors(
        current_scale=1.0 + stated.current_scale_sd * size["gain"],
        current_offset_a=stated.current_offset_sd_a * size["offset"],
        voltage_scale=1.0 + stated.voltage_scale_sd * size["voltage"],
        velocity_sd_mps=float(rng.uniform(0.03, 0.08)) * kept["velocity"],
        velocity_memory_s=float(rng.uniform(1.0, 4.0)),
        velocity_noise_mps=0.02 * kept["velocity"],
        heading_offset_deg=float(rng.normal(0.0, 5.0)),
    )
    rider = _hands(MOST_W[chosen], generator(seed, "hands"))
    rest = Leg("made fast", REST_S, float(rng.uniform(0.0, 360.0)), 0.0, steer=Steer.MADE_FAST)
    water = _weather(_water(rng, kept), generator(seed, "weather"), kept)
    ride = Ride(replace(nominal, battery=pack), water, rider, (rest,), 45.03, -30.02)
    return World(
        chosen,
        seed,
        MOST_W[chosen],
        ride,
        sensors,
        stated,
        Extras(
            throttle=bool(telling.random() < THROTTLE_CHANCE),
            pack_degc=bool(telling.random() < PACK_DEGC_CHANCE),
        ),
    )


def _pack(
    nominal: Battery, rng: np.random.Generator, size: dict[str, float], kept: dict[str, float]
) -> tuple[Battery, Stated]:
    """Draw the true pack and its statement: a share of the craft's own, for shorter rides."""
    share = float(rng.uniform(0.4, 0.8))
    capacity_ah = nominal.capacity_ah * share
    start = float(rng.uniform(0.80, 0.95))
    resistance_ohm = nominal.resistance_ohm / share
    own = float(np.exp(0.15 * rng.standard_normal()))
    states_it = bool(rng.random() < 0.5)
    cells = CELLS[nominal.chemistry]
    cell = cells[int(rng.integers(len(cells)))] if kept["shape"] else cells[0]
    stated = Stated(
        nominal.chemistry,
        nominal.cells,
        capacity_ah,
        start,
        float(rng.choice([0.15, 0.2, 0.25])),
        CUTOFF_CELL_V[nominal.chemistry] * nominal.cells,
        resistance_ohm if states_it else None,
        start_sd=0.02 * kept["start"],
        capacity_sd=0.03 * kept["capacity"],
        current_scale_sd=0.02 * kept["gain"],
        current_offset_sd_a=0.02 * kept["offset"],
        voltage_scale_sd=0.005 * kept["voltage"],
    )
    true = replace(
        nominal,
        capacity_ah=capacity_ah * (1.0 + stated.capacity_sd * size["capacity"]),
        resistance_ohm=resistance_ohm * own,
        slow_resistance_ohm=nominal.slow_resistance_ohm / share * own,
        start_fraction=min(start + stated.start_sd * size["start"], 1.0),
        cell=cell,
        shift_v=LFP_SHIFT_SD_V * size["shape"] if nominal.chemistry == "lfp" else 0.0,
    )
    return true, stated


def _real_pack(pack: Battery, stated: Stated, rng: np.random.Generator) -> tuple[Battery, Stated]:
    """Give a drawn pack its temperature and all that depends on it, and a second time constant."""
    cold = bool(rng.random() < COLD_CHANCE)
    degc = float(rng.uniform(*(COLD_DEGC if cold else WARM_DEGC)))
    true = replace(
        pack,
        temperature_degc=degc,
        slow_time_s=float(rng.uniform(*SLOW_S)),
        slower_resistance_ohm=pack.resistance_ohm * float(rng.uniform(*SLOWER_SHARE)),
        slower_time_s=float(rng.uniform(*SLOWER_S)),
        cold_growth_per_k=float(rng.uniform(*COLD_GROWTH_PER_K)),
        empty_growth=float(rng.uniform(*EMPTY_GROWTH)),
    )
    if not cold:
        return true, stated
    kept_fraction = 1.0 - float(rng.uniform(*COLD_LOSS_PER_K)) * (REFERENCE_DEGC - degc)
    true = replace(true, capacity_ah=true.capacity_ah * kept_fraction)
    return true, replace(stated, capacity_sd=COLD_CAPACITY_SD, resistance_ohm=None)


def _hands(most_w: float, rng: np.random.Generator) -> Rider:
    """Draw a rider: a slow one perceives a change of speed later, and corrects it more gently."""
    slow = QUICK_TO_SLOW ** float(rng.uniform(-1.0, 1.0))
    usual = Rider(max_power_w=most_w, arrival_m=25.0)
    return replace(
        usual,
        power_gain=usual.power_gain / slow,
        perception_s=usual.perception_s * slow,
        lead_s=usual.lead_s * slow,
    )


def _weather(water: Water, rng: np.random.Generator, kept: dict[str, float]) -> Water:
    rises, turns = bool(rng.random() < 1.0 / 3.0), bool(rng.random() < 0.5)
    rise, turn = float(rng.uniform(*RISE_MPS_PER_H)), float(rng.uniform(-1.0, 1.0))
    return replace(
        water,
        wind_rise_mps2=rise / 3600.0 * rises * kept["current"],
        wind_turn_degps=turn * TURN_DEG_PER_H / 3600.0 * turns * kept["current"],
    )


def _water(rng: np.random.Generator, kept: dict[str, float]) -> Water:
    wind_mps = float(rng.uniform(0.0, 6.0))
    return Water(
        set_deg=float(rng.uniform(0.0, 360.0)),
        drift_mps=float(rng.uniform(0.0, 0.4)),
        drift_sd_mps=0.03 * kept["current"],
        wind_from_deg=float(rng.uniform(0.0, 360.0)),
        wind_mps=wind_mps,
        gust_sd_mps=0.25 * wind_mps * kept["current"],
        wave_speed_mps=float(rng.uniform(0.0, 0.08)),
    )


@lru_cache(maxsize=8)
def calm_curve(name: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the craft's true battery power [W] at speeds through calm water [m/s]."""
    speeds = [0.4 + 0.1 * k for k in range(47)]
    powers = [calm_power_w(CRAFTS[name], Water(), speed) for speed in speeds]
    return tuple(speeds), tuple(powers)


def calm_speed_mps(name: str, power_w: float) -> float:
    """Return the speed through calm water at a battery power [m/s]."""
    speeds, powers = calm_curve(name)
    return float(np.interp(power_w, powers, speeds))
