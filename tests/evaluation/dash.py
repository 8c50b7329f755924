"""What a craft with more sensors sends besides: throttle, drive temperature, cells."""

from dataclasses import dataclass, replace

import numpy as np

from onboard.block import Block, Channel
from tests.craft.battery import Battery, ocv_table
from tests.craft.chance import Array, generator
from tests.craft.voyage import Voyage
from tests.evaluation.blocks import _channel

HUD_EVERY, DRIVE_EVERY = 2, 3
"""Steps between messages of throttle and drive: 2.5 and 1.7 Hz."""


@dataclass(frozen=True)
class CellSpread:
    """How the cells of a pack differ from their mean, an entry a cell."""

    charge: Array
    """Offset of the charge fraction at the start."""
    capacity: Array
    """Relative capacity."""
    resistance: Array
    """Relative resistance."""
    tap_v: Array
    """Error of the reading [V]."""

    @classmethod
    def drawn(cls, cells: int, seed: int) -> "CellSpread":
        """Draw the cells of a pack in order. Common practice, no source."""
        rng = generator(seed, "cells")
        return cls(
            rng.normal(0.0, 0.008, cells),
            1.0 + rng.normal(0.0, 0.01, cells),
            np.maximum(1.0 + rng.normal(0.0, 0.08, cells), 0.5),
            rng.normal(0.0, 0.004, cells),
        )

    def with_cell(
        self, number: int, charge: float, capacity: float, resistance: float
    ) -> "CellSpread":
        """Return it with one cell changed: charge added, the others multiplied."""
        changed = {
            name: getattr(self, name).copy() for name in ("charge", "capacity", "resistance")
        }
        changed["charge"][number] += charge
        changed["capacity"][number] *= capacity
        changed["resistance"][number] *= resistance
        return replace(self, **changed)


def cell_volts(battery: Battery, spread: CellSpread, true: dict[str, Array]) -> Array:
    """Return the true voltage of each cell, shape (n, cells)."""
    table = np.array(ocv_table(battery.chemistry, battery.cell, battery.shift_v))
    steps = np.linspace(0.0, 1.0, len(table))
    used = battery.start_fraction - true["charge_fraction"]
    charge = battery.start_fraction + spread.charge - used[:, None] / spread.capacity
    # Below empty a cell gives out quickly.
    open_v = np.interp(charge, steps, table) + np.minimum(charge, 0.0) * 30.0
    sag_v = (true["open_circuit_v"] - true["volts_v"]) / battery.cells
    return np.maximum(open_v - sag_v[:, None] * spread.resistance, 0.0)


class Dash:
    """Reads what `Telemetry` does not send.

    Parameters
    ----------
    amps_most_a
        Motor current at full throttle, for a drive whose throttle is a current; None: a duty.
    spread
        The cells; None where they are not reported.
    """

    def __init__(
        self, voyage: Voyage, seed: int, amps_most_a: float | None, spread: CellSpread | None
    ) -> None:
        self._voyage, self._amps_most_a, self._spread = voyage, amps_most_a, spread
        self._rng = generator(seed, "dash")
        self.limited: dict[int, float] = {}
        """From which step on the drive passes on only this share of the throttle."""

    def extend(self, block: Block) -> Block:
        """Return a block of the whole voyage with what else is sent."""
        true = self._voyage.columns(0)
        steps = np.arange(self._voyage.index)
        t_s = steps * self._voyage.step_s
        if self._amps_most_a is None:
            throttle = true["motor_volts_v"] / true["volts_v"]
        else:
            throttle = true["motor_amps_a"] / self._amps_most_a
        marks = sorted(self.limited)
        shares = np.array([1.0, *(self.limited[mark] for mark in marks)])
        throttle = throttle / shares[np.searchsorted(marks, steps, side="right")]
        # VFR_HUD states the throttle in whole per cent.
        hud = {"throttle_fraction": np.round(np.clip(throttle, 0.0, 1.0), 2)}
        drive = {"motor": np.zeros(len(steps)), "temperature_degc": np.round(true["drive_degc"])}
        channels = {
            **block.channels,
            "hud": _channel("hud", t_s, hud, steps % HUD_EVERY == 0),
            "drive": _channel("drive", t_s, drive, steps % DRIVE_EVERY == 0),
        }
        if self._spread is not None:
            channels["battery"] = self._with_cells(block.channels["battery"], true)
        return Block(channels)

    def _with_cells(self, battery: Channel, true: dict[str, Array]) -> Channel:
        spread, pack = self._spread, self._voyage.ride.craft.battery
        at = np.round(battery.t_s / self._voyage.step_s).astype(int)
        volts = cell_volts(pack, spread, {name: column[at] for name, column in true.items()})
        volts = volts + spread.tap_v + self._rng.normal(0.0, 0.001, volts.shape)
        # They add up to what is stated of the pack.
        volts = np.round(np.maximum(volts, 0.0), 3)
        return replace(
            battery,
            columns={
                **battery.columns,
                "volts_v": volts.sum(axis=1),
                "cells": np.full(len(at), float(pack.cells)),
                "low_cell": volts.argmin(axis=1) + 1.0,
                "low_cell_v": volts.min(axis=1),
                "high_cell_v": volts.max(axis=1),
            },
        )
