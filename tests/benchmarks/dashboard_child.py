"""The child that `dashboard` measures: one view on figures that all change, or an idle app."""

import asyncio
import math
import sys
from collections.abc import AsyncIterator
from typing import Any

from textual.app import App

from groundside.answers import Ack
from groundside.dashboard.app import make_app
from groundside.source import Update
from groundside.units import CHOICES
from onboard.efficiency.trip_line import TripLine
from tests.groundside.dashboard_help import TARGET, figure, snapshot

CURVE_MPS = [0.1 * n for n in range(8, 40)]


def changing(n: int) -> dict[str, Any]:
    """Give the snapshot of the n-th fifth of a second, with every figure a little different."""
    wave = math.sin(n / 7.0)
    speed = 2.2 + 0.4 * wave
    power = 14.0 + 18.0 * speed**3
    cost = power / speed / 3.6
    shown = snapshot(
        seq=n,
        t_s=1800.0 + n / 5,
        power_w=power,
        speed_mps=speed,
        amps_a=power / 51.2,
        volts_v=51.2 - wave,
        course_deg=83.0 + 20 * wave,
        heading_deg=80.0 + 20 * wave,
        range_m={"now": figure(16_400.0 - 900 * wave), "target": None, "best": figure(22_000.0)},
        best_speed_mps=figure(1.6),
        target={**TARGET, "speed_mps": 2.0, "difference_fraction": 0.09 * wave},
        home={
            "distance_m": 900.0 + n / 5,
            "bearing_deg": 210.0 + 5 * wave,
            "energy_wh": figure(60.0 + wave),
            "margin_wh": figure(400.0 - n / 9),
            "speed_mps": 2.0,
            "turn_back": False,
        },
        set_and_drift={"east_mps": figure(0.2 + wave / 9), "north_mps": figure(-0.1)},
        curve={
            "speed_mps": CURVE_MPS,
            "power_w": [14 + 18 * v**3 for v in CURVE_MPS],
            "low_w": [13 + 17 * v**3 for v in CURVE_MPS],
            "high_w": [15 + 19 * v**3 for v in CURVE_MPS],
            "speed_kind": "through_water",
        },
        runs=[
            {
                "number": 1, "setup": "A", "open": True, "start_s": 1700.0,
                "seconds_s": 100.0 + n / 5, "steady_s": 60.0, "power_w": power,
                "speed_mps": speed, "course_deg": 80.0, "wh_per_km": figure(cost),
                "long_enough": False,
            }
        ],
    )  # fmt: skip
    shown["wh_per_km"] |= {"last_20_s": figure(cost), "last_300_s": figure(48.0 + wave)}
    shown["trip"] |= {
        "energy_wh": figure(200.0 + n / 40),
        "distance_m": figure(4000.0 + n / 2.5),
        "elapsed_s": 1800.0 + n / 5,
    }
    shown["battery"]["left_wh"] = figure(812.0 - n / 40)
    return shown


def trip_line() -> dict[str, Any]:
    """Give half an hour that was ridden before."""
    line = TripLine()
    for t_s in range(1800):
        line.add(float(t_s), 2.2 * t_s + 30 * math.sin(t_s / 90), 0.11 * t_s)
    return line.as_dict()


class Changing:
    """A source at the feed's rate."""

    name, controls, places = "a benchmark", None, None

    @property
    def talk(self) -> "Changing":
        """Itself."""
        return self

    async def send(self, _command: dict[str, Any]) -> Ack:
        """Do nothing."""
        return Ack(True)

    async def stream(self) -> AsyncIterator[Update]:
        """Give a snapshot five times a second."""
        yield Update(changing(0), trip_line=trip_line())
        n = 0
        while True:
            n += 1
            await asyncio.sleep(0.2)
            yield Update(changing(n))


def main(what: str) -> None:
    """Run until killed."""
    if what == "idle":
        App[None]().run()
        return
    app = make_app(Changing(), units=CHOICES["km/h"])
    app.call_later(app.action_caution_read)
    app.call_later(app.action_view, what)
    app.run()


if __name__ == "__main__":
    main(sys.argv[1])
