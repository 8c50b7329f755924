"""The process that `dashboard` measures: one view with its figures changing, or an idle app."""

import asyncio
import math
import sys
from collections.abc import AsyncIterator, Callable
from dataclasses import replace

from textual.app import App

from groundside.connection.commands import CommandResult
from groundside.connection.source import Update
from groundside.dashboard.app import make_app
from groundside.words.units import CHOICES
from onboard.contract.commands import Command
from onboard.contract.snapshot import Curve, Snapshot
from onboard.contract.trip_line import TripLine
from onboard.efficiency.trip.trip_line import GrowingLine
from tests.made_snapshot import RUN, around, changed, made_snapshot

CURVE_MPS = tuple(0.1 * n for n in range(8, 40))
CURVE = Curve(
    CURVE_MPS,
    *(
        tuple(idle + each * v**3 for v in CURVE_MPS)
        for idle, each in ((14, 18), (13, 17), (15, 19))
    ),
    "through_water",
)


def changing(n: int) -> Snapshot:
    """Return the snapshot of the n-th fifth of a second; every figure differs from the last."""
    wave = math.sin(n / 7.0)
    speed = 2.2 + 0.4 * wave
    power = 14.0 + 18.0 * speed**3
    cost = power / speed / 3.6
    run = changed(
        RUN,
        open=True,
        start_s=1700.0,
        seconds_s=100.0 + n / 5,
        steady_s=60.0,
        power_w=power,
        speed_mps=speed,
        wh_per_km=around(cost),
        long_enough=False,
    )
    return made_snapshot(
        seq=n,
        t_s=1800.0 + n / 5,
        power_w=power,
        speed_mps=speed,
        amps_a=power / 51.2,
        volts_v=51.2 - wave,
        course_deg=83.0 + 20 * wave,
        heading_deg=80.0 + 20 * wave,
        range_m__now=around(16_400.0 - 900 * wave),
        best_speed_mps=around(1.6),
        target__difference_fraction=0.09 * wave,
        home__distance_m=900.0 + n / 5,
        home__bearing_deg=210.0 + 5 * wave,
        home__energy_wh=around(60.0 + wave),
        home__margin_wh=around(400.0 - n / 9),
        set_and_drift__east_mps=around(0.2 + wave / 9),
        set_and_drift__north_mps=around(-0.1),
        curve=CURVE,
        runs=(run,),
        wh_per_km__last_20_s=around(cost),
        wh_per_km__last_300_s=around(48.0 + wave),
        trip__energy_wh=around(200.0 + n / 40),
        trip__distance_m=around(4000.0 + n / 2.5),
        trip__elapsed_s=1800.0 + n / 5,
        battery__left_wh=around(812.0 - n / 40),
    )


NEWEST = ("seq", "t_s", "power_w", "speed_mps", "amps_a", "volts_v", "course_deg", "heading_deg")
"""The fields that are new five times a second; all others are summed once a second."""


def with_sums_once_a_second(n: int) -> Snapshot:
    """Return the n-th snapshot if only its newest values change within a second."""
    newest = changing(n)
    return replace(changing(n - n % 5), **{name: getattr(newest, name) for name in NEWEST})


def trip_line() -> TripLine:
    """Return the trip line of half an hour ridden before."""
    line = GrowingLine()
    for t_s in range(1800):
        place = 45.0 + 0.005 * math.sin(t_s / 300), -30.0 + 0.008 * math.sin(t_s / 190)
        line.add(float(t_s), 2.2 * t_s + 30 * math.sin(t_s / 90), 0.11 * t_s, place)
    return line.record()


class Changing:
    """A source of snapshots at the feed's rate."""

    name, controls, seek_controls = "a benchmark", None, None

    def __init__(self, snapshot: Callable[[int], Snapshot] = changing) -> None:
        self._snapshot = snapshot

    @property
    def command_sender(self) -> "Changing":
        """Return itself."""
        return self

    async def send(self, _command: Command) -> CommandResult:
        """Do nothing."""
        return CommandResult(True)

    async def stream(self) -> AsyncIterator[Update]:
        """Yield a snapshot five times a second."""
        yield Update(self._snapshot(0), trip_line=trip_line())
        n = 0
        while True:
            n += 1
            await asyncio.sleep(0.2)
            yield Update(self._snapshot(n))


def main(what: str) -> None:
    """Run until killed."""
    if what == "idle":
        App[None]().run()
        return
    view, _, sums = what.partition("+")
    app = make_app(Changing(with_sums_once_a_second if sums else changing), units=CHOICES["km/h"])
    app.call_later(app.action_caution_read)
    app.call_later(app.action_view, view)
    app.run()


if __name__ == "__main__":
    main(sys.argv[1])
