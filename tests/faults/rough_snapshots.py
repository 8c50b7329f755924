"""Lines of a feed made from the contract's published schema alone: sane ones, and wild ones.

Wild ones are valid by `schema.json` and by JSON, and hostile in every way that leaves open.
"""

import json
import random
from collections.abc import Mapping
from pathlib import Path
from typing import Any

SCHEMA = json.loads((Path(__file__).parents[2] / "onboard/contract/schema.json").read_text())
TYPES: dict[str, Any] = SCHEMA["$defs"]

NUMBERS = (0, -0.0, 1, -1, 0.5, 12.5, 90, -90, 180, -180, 360, 1e-9, 5e-324, 1e6, -1e6, 1e17)
HUGE = (1e308, -1e308, 1.7976931348623157e308, 10**400, -(10**400), 2**63)
"""Integers beyond the largest float are JSON numbers too."""
TEXTS = (
    *("", "A", "slim", "a b", "[bold]x[/bold]", "[/]", "$error", "{power_w}", "%s", "\x1b[31mred"),
    *(
        "two\nlines",
        "\r\t",
        "幅広い船",
        "船" * 60,
        "e\u0301" * 30,
        "\u202eright to left",
        "👩‍👩‍👧",
        "🇩🇰",
    ),
    *("x" * 300, "no_such_word", "\u200b" * 9, "\ufeff", "\U0010ffff", "ｗｉｄｅ"),
)
PLACES = (
    *([90.0, 0.0], [-90.0, 180.0], [0.0, 0.0], [0.0, 180.0], [0.0, -180.0], [89.99999, -179.99999]),
    *([45.01, 179.9999], [45.01, -179.9999], [-45.0, 150.0], [45.01, -30.02]),
)


class Maker:
    """Makes values for the types of the schema.

    Parameters
    ----------
    chance
        Where its choices come from.
    known, huge
        Probability that a figure is known, and that a number is one of `HUGE`.
    """

    def __init__(self, chance: random.Random, known: float = 0.8, huge: float = 0.1) -> None:
        self._chance, self._known, self._huge = chance, known, huge

    def of(self, schema: Mapping[str, Any]) -> Any:  # noqa: PLR0911
        """Return a value that fits a schema."""
        chance = self._chance
        if "$ref" in schema:
            return self.of(TYPES[schema["$ref"].rsplit("/")[-1]])
        if "const" in schema:
            return schema["const"]
        if "enum" in schema:
            return chance.choice(schema["enum"])
        if "oneOf" in schema:
            return self.of(chance.choice(schema["oneOf"]))
        if "anyOf" in schema:
            *others, last = schema["anyOf"]
            if last.get("type") != "null":
                return self.of(chance.choice(schema["anyOf"]))
            return self.of(chance.choice(others)) if chance.random() < self._known else None
        kind = schema["type"]
        if isinstance(kind, list):
            kind = kind[0] if chance.random() < self._known else "null"
        if kind == "object":
            return self._object(schema)
        if kind == "array":
            least, most = (
                schema.get("minItems", 0),
                schema.get("maxItems", chance.choice((0, 2, 9))),
            )
            return [self.of(schema["items"]) for _ in range(max(least, most))]
        return {
            "number": self.number,
            "integer": lambda: chance.choice((0, 1, 2, 3, -1, 2**31, 2**63)),
            "string": lambda: chance.choice(TEXTS),
            "boolean": lambda: chance.random() < 0.5,
            "null": lambda: None,
        }[kind]()

    def number(self) -> float:
        """Return a number."""
        chance = self._chance
        if chance.random() < self._huge:
            return chance.choice(HUGE)
        return chance.choice((*NUMBERS, chance.uniform(0, 1), chance.uniform(-1000, 1000)))

    def _object(self, schema: Mapping[str, Any]) -> dict[str, Any]:
        needed = set(schema.get("required", ()))
        made = {
            name: self.of(of)
            for name, of in schema.get("properties", {}).items()
            if name != "why" and (name in needed or self._chance.random() < 0.8)
        }
        if "why" in schema.get("properties", {}):
            unknown = [name for name, value in made.items() if value is None]
            made["why"] = {name: self.of(TYPES["Unknown"]) for name in unknown}
        return made


def wild_snapshot(chance: random.Random, seq: int, t_s: float) -> dict[str, Any]:
    """Return a hostile snapshot."""
    maker = Maker(chance, chance.choice((0.0, 0.5, 0.9, 1.0)), chance.choice((0.0, 0.02, 0.3)))
    made: dict[str, Any] = maker.of(TYPES["Snapshot"])
    made |= {"schema": 2, "kind": "snapshot", "seq": seq}
    made["coach"] = None  # one press is enough while the coach leads
    if chance.random() < 0.5:
        made["t_s"] = t_s
    for name, value in made.items():
        if isinstance(value, list) and name.endswith("_deg"):
            made[name] = list(chance.choice(PLACES))
    if chance.random() < 0.3:
        made["alerts"] = [maker.of(one) for one in TYPES["Alert"]["oneOf"]]
    if isinstance(made["home"], dict) and chance.random() < 0.5:
        made["home"] |= {"distance_m": 2.0e7, "bearing_deg": chance.choice((0, 359.999, -1, 1e9))}
    if isinstance(made["curve"], dict) and chance.random() < 0.8:
        count = chance.choice((0, 1, 2, 2, 30))
        speeds = sorted(maker.number() for _ in range(count))
        if chance.random() < 0.3:
            speeds = [2.0] * count
        columns = {
            name: [maker.number() for _ in speeds] for name in ("power_w", "low_w", "high_w")
        }
        made["curve"] |= {"speed_mps": speeds, **columns}
    return made


def wild_line(chance: random.Random, t_s: float) -> dict[str, Any]:
    """Return a hostile trip line."""
    count = chance.choice((0, 1, 2, 3, 400, 400, 400))
    step_s = chance.choice((1e-9, 1.0, 1.0, 30.0, 1e9))
    kind = chance.randrange(6)

    def place(n: int) -> list[float] | None:
        if kind == 0:
            return None
        if kind == 1:
            return [45.01, -30.02]
        if kind == 2:
            return list(chance.choice(PLACES))
        if kind == 3:
            return None if chance.random() < 0.5 else [chance.uniform(-90, 90), 180.0]
        if kind == 4:
            return [45.0 + n * 1e-5, -30.0 - n * 1e-5]
        return [chance.choice((1e9, -91.0, 45.0)), chance.choice((1e300, 540.0, 3.0))]

    maker = Maker(chance)
    wild = chance.random() < 0.3
    return {
        "schema": 2,
        "kind": "trip_line",
        "t_s": [t_s - (count - n) * step_s for n in range(count)],
        "distance_m": [maker.number() if wild else n * 3.0 for n in range(count)],
        "energy_wh": [maker.number() if wild else n * 0.2 for n in range(count)],
        "every_s": step_s,
        "position_deg": [place(n) for n in range(count)],
    }


def figure(value: float) -> dict[str, float]:
    """Return a figure with its interval."""
    return {"value": value, "low": value * 0.95, "high": value * 1.05}


def sane_snapshot(seq: int, t_s: float, open_run: int | None = None) -> dict[str, Any]:
    """Return a snapshot of an ordinary ride, in which nothing is wrong."""
    made: dict[str, Any] = Maker(random.Random(1), 1.0, 0.0).of(TYPES["Snapshot"])
    made |= {"schema": 2, "kind": "snapshot", "seq": seq, "t_s": t_s, "newest_t_s": t_s}
    made |= {"power_w": 437.0, "volts_v": 51.0, "amps_a": 8.6, "speed_mps": 2.5}
    made |= {"position_deg": [45.0 + t_s * 1e-5, -30.0], "course_deg": 10.0, "heading_deg": 12.0}
    made |= {"setup": "A", "setups": ["A", "B"], "reserve_fraction": 0.2, "alerts": []}
    made |= {
        "coach": None,
        "target": None,
        "home": None,
        "curve": None,
        "runs": [],
        "battery": None,
    }
    made |= {"set_and_drift": None, "drive": None, "utc": None}
    made |= {"time_left_s": figure(7000.0), "best_speed_mps": figure(1.5)}
    made["range_m"] = {name: figure(9000.0) for name in ("now", "target", "best")}
    made["wh_per_km"] = {name: figure(48.0) for name in TYPES["Consumption"]["required"]}
    made["steady"] |= {
        "seconds_s": 40.0,
        "power_w": 430.0,
        "speed_mps": 2.5,
        "scatter_fraction": 0.1,
    }
    trip = {"energy_wh": figure(93.0), "distance_m": figure(t_s * 2.5), "elapsed_s": t_s}
    trip |= {"charge_ah": 1.8, "moving_s": t_s, "mean_power_w": 400.0, "mean_speed_mps": 2.5}
    trip |= {"max_speed_mps": 3.0, "bridged_energy_fraction": 0.0, "bridged_distance_fraction": 0.0}
    made["trip"] = trip | {"wh_per_km": figure(48.0)}
    made["link"] |= {"age_s": 0.1, "messages_per_s": 30.0, "messages": seq, "source": "made"}
    made["link"] |= {"lost": 0, "bad_bytes": 0, "system_id": 1}
    if open_run is not None:
        run: dict[str, Any] = Maker(random.Random(1), 1.0, 0.0).of(TYPES["Run"])
        run |= {"number": open_run, "setup": "A", "open": True, "start_s": t_s, "seconds_s": 1.0}
        made["runs"] = [run]
    return made
