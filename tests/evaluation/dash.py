"""What a craft with more sensors sends besides: throttle, revs, drive temperature, cells."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from onboard.block import COLUMNS, Block, Channel
from tests.craft.battery import Battery, ocv_table
from tests.craft.chance import Array, generator
from tests.craft.voyage import Voyage

HUD_EVERY, DRIVE_EVERY = 2, 3
"""Steps between messages of throttle and of the drive: 2.5 and 1.7 Hz."""

TAP_NOISE_V = 0.001

BELOW_EMPTY_V = 30.0
"""Fall of a cell's voltage over its charge once that is used up [V]: it gives out at once."""


@dataclass(frozen=True)
class CellSpread:
    """How the cells of a pack differ, an entry a cell."""

    charge: Array
    """Charge fraction at the start, beyond the pack's."""
    capacity: Array
    """Over the pack's."""
    resistance: Array
    """Over the mean."""
    tap_v: Array
    """Error of the reading [V]."""

    def with_cell(self, number: int, charge: float, capacity: float, resistance: float) -> Any:
        """Return the spread with one cell changed: charge added, the others multiplied."""
        changed = {
            name: getattr(self, name).copy() for name in ("charge", "capacity", "resistance")
        }
        changed["charge"][number] += charge
        changed["capacity"][number] *= capacity
        changed["resistance"][number] *= resistance
        return replace(self, **changed)


def drawn_cells(cells: int, seed: int) -> CellSpread:
    """Draw the cells of a pack in order. Common practice, no source."""
    rng = generator(seed, "cells")
    return CellSpread(
        rng.normal(0.0, 0.008, cells),
        1.0 + rng.normal(0.0, 0.01, cells),
        np.maximum(1.0 + rng.normal(0.0, 0.08, cells), 0.5),
        rng.normal(0.0, 0.004, cells),
    )


def cell_volts(battery: Battery, spread: CellSpread, true: dict[str, Array]) -> Array:
    """Return the true voltage of each cell at each step, shape (n, cells)."""
    table = np.array(ocv_table(battery.chemistry, battery.cell, battery.shift_v))
    used = battery.start_fraction - true["charge_fraction"]
    charge = battery.start_fraction + spread.charge - used[:, None] / spread.capacity
    open_v = np.interp(charge, np.linspace(0.0, 1.0, len(table)), table)
    open_v += np.minimum(charge, 0.0) * BELOW_EMPTY_V
    sag_v = (true["open_circuit_v"] - true["volts_v"]) / battery.cells
    return np.maximum(open_v - sag_v[:, None] * spread.resistance, 0.0)


class Dash:
    """Reads what `Telemetry` does not send.

    Parameters
    ----------
    voyage, seed
        The ride.
    most_motor_amps_a
        Motor current at full throttle, for a drive whose throttle is a current; None: a duty.
    revs
        Whether the drive reports its revs.
    cells
        The cells; None where they are not reported.
    """

    def __init__(
        self,
        voyage: Voyage,
        seed: int,
        most_motor_amps_a: float | None,
        revs: bool,
        cells: CellSpread | None,
    ) -> None:
        self._voyage, self._most_a, self._revs = voyage, most_motor_amps_a, revs
        self._cells, self._noise = cells, generator(seed, "taps")
        self.passed_on: dict[int, float] = {0: 1.0}
        """By step: the share of the throttle that the drive passes on from there."""

    def extend(self, block: Block) -> Block:
        """Return a block of the whole voyage with what else is sent."""
        true, steps = self._voyage.columns(), np.arange(self._voyage.index)
        t_s = steps * self._voyage.step_s
        if self._most_a is None:
            throttle = true["motor_volts_v"] / true["volts_v"]
        else:
            throttle = true["motor_amps_a"] / self._most_a
        marks = sorted(self.passed_on)
        shares = np.array([self.passed_on[mark] for mark in marks])
        throttle = throttle / shares[np.searchsorted(marks, steps, side="right") - 1]
        # VFR_HUD states the throttle in whole per cent.
        hud = {"throttle_fraction": np.round(np.clip(throttle, 0.0, 1.0), 2)}
        drive = {"motor": 0.0 * steps, "temperature_degc": np.round(true["drive_degc"])}
        if self._revs:
            drive["rpm"] = np.round(true["motor_rpm"])
        channels = {
            **block.channels,
            "hud": _channel("hud", t_s, hud, HUD_EVERY),
            "drive": _channel("drive", t_s, drive, DRIVE_EVERY),
        }
        if self._cells is not None:
            channels["battery"] = self._with_cells(block.channels["battery"], true)
        return Block(channels)

    def _with_cells(self, sent: Channel, true: dict[str, Array]) -> Channel:
        assert self._cells is not None
        at = np.round(sent.t_s / self._voyage.step_s).astype(int)
        pack = self._voyage.ride.craft.battery
        volts = cell_volts(pack, self._cells, {name: column[at] for name, column in true.items()})
        noise = self._noise.normal(0.0, TAP_NOISE_V, volts.shape)
        volts = np.round(np.maximum(volts + self._cells.tap_v + noise, 0.001), 3)
        cells = {
            "volts_v": volts.sum(axis=1),
            "cells": np.full(len(at), float(pack.cells)),
            "low_cell": volts.argmin(axis=1) + 1.0,
            "low_cell_v": volts.min(axis=1),
            "high_cell_v": volts.max(axis=1),
        }
        return replace(sent, columns={**sent.columns, **cells})


def _channel(name: str, t_s: Array, known: dict[str, Array], every: int) -> Channel:
    unknown = np.full(len(t_s), np.nan)
    columns = {column: known.get(column, unknown)[::every] for column in COLUMNS[name]}
    return Channel(t_s[::every], columns)
