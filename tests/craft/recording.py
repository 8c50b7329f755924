"""A scenario simulated to its end: truth, frames, and the golden figures beside a log."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from tests.craft.battery import rest_energy_wh
from tests.craft.mavlink_stream import Frame, StreamOptions, frames, ground_station_frames, merge
from tests.craft.ride import simulate
from tests.craft.scenarios import SCENARIOS, Scenario
from tests.craft.sensors import read, reported_energy_wh
from tests.craft.source import Board, Source
from tests.craft.steady import calm_power_w
from tests.craft.truth import Truth, leg_bounds, totals

CURVE_SPEEDS_MPS = (1.0, 1.5, 2.0, 2.5, 3.0)

COMPANION_ID = 7
COMPANION_RATES_HZ = {"HEARTBEAT": 1.0, "SYS_STATUS": 1.0, "GLOBAL_POSITION_INT": 1.0}


@dataclass(frozen=True)
class Recording:
    """Result of a scenario with one seed."""

    scenario: Scenario
    seed: int
    truth: Truth
    frames: list[Frame]


def record(scenario: Scenario, seed: int | None = None) -> Recording:
    """Simulate a scenario, with its own seed unless another is given."""
    chosen = scenario.seed if seed is None else seed
    truth = simulate(scenario.ride, chosen)
    streams = [stream(scenario, truth, chosen)]
    if scenario.options.ground_station:
        streams.append(ground_station_frames(truth.duration_s))
    if scenario.options.companion:
        streams.append(_companion(scenario, truth.duration_s, chosen))
    return Recording(scenario, chosen, truth, merge(*streams))


def stream(
    scenario: Scenario, truth: Truth, seed: int, options: StreamOptions | None = None
) -> list[Frame]:
    """Return the frames of the scenario's craft alone, from a given truth."""
    chosen = options or scenario.options
    battery = scenario.ride.craft.battery
    board = Board(
        battery.cells,
        battery.chemistry == "lfp",
        battery.capacity_ah,
        scenario.ride.craft.motor.pole_pairs,
        battery.start_fraction,
        scenario.ride.rider.max_power_w,
        scenario.start_unix_s,
        chosen.boot_s,
        chosen.first_fix_s,
        chosen.cell_voltages,
    )
    readings = read(truth, scenario.sensors, seed)
    return frames(Source(truth, readings, scenario.sensors, board), chosen, seed)


def _companion(scenario: Scenario, duration_s: float, seed: int) -> list[Frame]:
    """Return the frames of the second craft on the link, for the duration of the first's ride."""
    other = SCENARIOS[str(scenario.options.companion)]
    options = StreamOptions(COMPANION_ID, rates_hz=COMPANION_RATES_HZ, boot_s=911.0)
    truth = simulate(other.ride, seed + 1)
    everything = stream(other, truth, seed + 1, options)
    return [frame for frame in everything if frame.time_s <= duration_s]


def golden(recording: Recording) -> dict[str, Any]:
    """Return the true figures that tests compare with."""
    truth, scenario = recording.truth, recording.scenario
    sums = totals(truth)
    battery = scenario.ride.craft.battery
    left = float(truth.charge_fraction[-1])
    sensors = scenario.sensors
    return {
        "scenario": scenario.name,
        "seed": recording.seed,
        "start_unix_s": scenario.start_unix_s,
        "messages": len(recording.frames),
        **_rounded(asdict(sums)),
        "reported_energy_wh": round(reported_energy_wh(truth, sensors), 6),
        "current_east_mps": round(float(np.mean(truth.current_east_mps)), 6),
        "current_north_mps": round(float(np.mean(truth.current_north_mps)), 6),
        "charge_fraction_end": round(left, 6),
        "rest_energy_end_wh": round(rest_energy_wh(battery, left), 6),
        "resistance_ohm": battery.resistance_ohm,
        "slow_resistance_ohm": battery.slow_resistance_ohm,
        "current_scale": sensors.current_scale,
        "current_offset_a": sensors.current_offset_a,
        "voltage_scale": sensors.voltage_scale,
        "calm_water_curve": {
            "speed_mps": list(CURVE_SPEEDS_MPS),
            "power_w": [
                round(calm_power_w(scenario.ride.craft, scenario.ride.water, speed_mps), 3)
                for speed_mps in CURVE_SPEEDS_MPS
            ],
        },
        "legs": [
            {
                "name": name,
                "start_s": round(float(truth.time_s[first]), 6),
                "end_s": round(float(truth.time_s[last]), 6),
                **_rounded(asdict(totals(truth, first, last))),
            }
            for name, first, last in leg_bounds(truth)
        ],
    }


def _rounded(figures: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 6) for name, value in figures.items()}
