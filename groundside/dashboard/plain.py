"""The dashboard without a screen: a line per second, for a pipe, a log or a screen reader."""

import asyncio
import contextlib
import io
import os
import time
from collections.abc import AsyncGenerator, Callable
from typing import TextIO

from groundside.connection.freshness import data_age_s, is_stale
from groundside.connection.source import ReplayState, SnapshotSource, Update
from groundside.words.alerts import alert_text
from groundside.words.coach import step_text
from groundside.words.figures import (
    Reading,
    age_text,
    clock_text,
    consumption_text,
    figure_with_interval,
    one_decimal,
    three_figures,
    whole,
)
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.coach import Coach
from onboard.contract.figure import Estimate, Unknown, within
from onboard.contract.snapshot import Snapshot


def line_of(
    snapshot: Snapshot,
    units: Units,
    since_received_s: float = 0.0,
    replay: ReplayState | None = None,
) -> str:
    """Write a snapshot as one line.

    Parameters
    ----------
    snapshot
        The snapshot.
    units
        The rider's units.
    since_received_s
        Time since the snapshot arrived [s].
    replay
        State of the replay of a saved ride; None if live.
    """
    system = snapshot.link.system_id
    if isinstance(system, Unknown):
        alerts = "".join(f"  {text}" for text in _alert_texts(snapshot, units))
        return f"{reason_text(system, units)} on {snapshot.link.source}{alerts}"

    def consumption(figure: Estimate) -> str:
        return figure_with_interval(
            reading(figure, units), lambda x: consumption_text(x, units), units.consumption_name
        )

    def of_distance(write: Callable[[float], str]) -> Callable[[float], str]:
        return lambda x: write(units.distance(x))

    distance = reading(snapshot.trip.distance_m, units)
    energy = reading(snapshot.trip.energy_wh, units)
    range_now = reading(snapshot.range_m.now, units)
    left = reading(within(snapshot.battery, lambda battery: battery.left_wh), units)
    parts = [
        clock_text(snapshot.t_s),
        _named("power", reading(snapshot.power_w, units), whole, "W", bare=True),
        _named(
            "speed",
            reading(snapshot.speed_mps, units),
            lambda x: one_decimal(units.speed(x)),
            units.speed_name,
            bare=True,
        ),
        f"{consumption(snapshot.wh_per_km.last_20_s)} (20 s)",
        f"{consumption(snapshot.wh_per_km.last_300_s)} (5 min)",
        _named("usable", left, whole, "Wh"),
        _named("range", range_now, of_distance(one_decimal), units.distance_name),
        _named("trip", distance, of_distance(three_figures), units.distance_name)
        + " "
        + figure_with_interval(energy, whole, "Wh"),
    ]
    cue = within(snapshot.target, lambda target: target.cue)
    stale = is_stale(snapshot, since_received_s, replay)
    if not isinstance(cue, Unknown) and not stale:
        parts.append(f"cue {cue}")
    if isinstance(snapshot.coach, Coach) and not stale:
        parts.append(f"coach: {step_text(snapshot.coach.step, units)}")
    parts.extend(_alert_texts(snapshot, units))
    age_s = data_age_s(snapshot, since_received_s, replay)
    age = f"data {age_text(age_s)} old" if age_s is not None else "data of unknown age"
    parts.append(f"STALE: {age}" if stale else age)
    return "  ".join(parts)


def _named(
    name: str, figure: Reading, write: Callable[[float], str], unit: str, *, bare: bool = False
) -> str:
    """Write a figure with its name; a bare one only with its unit while it is known."""
    text = figure_with_interval(figure, write, unit)
    return text if bare and figure.value is not None else f"{name} {text}"


def _alert_texts(snapshot: Snapshot, units: Units) -> list[str]:
    return [
        f"{alert.level.upper()}: {alert_text(alert, units)}"
        for alert in snapshot.alerts
        if alert.level != "note"
    ]


async def run_plain(
    source: SnapshotSource,
    out: TextIO,
    *,
    units: Units,
    interval_s: float = 1.0,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Write the newest snapshot as a line at intervals until the source ends.

    Parameters
    ----------
    source
        Where snapshots come from.
    out
        Output stream; writing ends quietly once the reader is gone.
    units
        The rider's units.
    interval_s
        Time between lines [s].
    clock
        A monotonic clock [s].
    """
    writer = _LineWriter(out, units, interval_s, clock)
    stream = source.stream()
    coming = asyncio.ensure_future(anext(stream, None))
    try:
        while True:
            done, _ = await asyncio.wait({coming}, timeout=writer.wait_s())
            if done:
                update = coming.result()
                if update is None:
                    break
                writer.take(update)
                coming = asyncio.ensure_future(anext(stream, None))
            writer.write_if_due()
        writer.write_rest()
    except BrokenPipeError:
        _discard(out)
    finally:
        coming.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await coming
        if isinstance(stream, AsyncGenerator):
            await stream.aclose()


class _LineWriter:
    """Keeps the newest update and writes it when a line is due."""

    def __init__(
        self, out: TextIO, units: Units, interval_s: float, clock: Callable[[], float]
    ) -> None:
        self._out = out
        self._units = units
        self._interval_s = interval_s
        self._clock = clock
        self._update: Update | None = None
        self._received_s = 0.0
        self._unwritten = False
        self._due_s = clock()

    def wait_s(self) -> float:
        return max(0.0, self._due_s - self._clock()) if self._update is not None else 3600.0

    def take(self, update: Update) -> None:
        self._unwritten = self._unwritten or update != self._update
        self._update = update
        self._received_s = self._clock()

    def write_if_due(self) -> None:
        now_s = self._clock()
        if self._update is None or now_s < self._due_s:
            return
        # counted from the due time, so that lines do not drift, but without a burst to catch up
        self._due_s = max(self._due_s + self._interval_s, now_s + 0.5 * self._interval_s)
        if self._unwritten or self._update.snapshot is not None:
            self._write()

    def write_rest(self) -> None:
        if self._unwritten:
            self._write()

    def _write(self) -> None:
        self._unwritten = False
        if self._update is None:
            return
        if self._update.snapshot is not None:
            since_s = self._clock() - self._received_s
            line = line_of(self._update.snapshot, self._units, since_s, self._update.replay)
        else:
            line = self._update.problem or "no data"
        self._out.write(line + "\n")
        self._out.flush()


def _discard(out: TextIO) -> None:
    """Redirect a broken output to nothing: the interpreter flushes it once more on exit."""
    with contextlib.suppress(OSError, ValueError, AttributeError, io.UnsupportedOperation):
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, out.fileno())
        os.close(nothing)
