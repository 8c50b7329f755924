"""The followed GPS receiver: its fixes, joined with the accuracies that it states."""

from pathlib import Path

import numpy as np

from onboard.block import FloatArray
from onboard.telemetry.logs.onboard_log.fields import Fields
from onboard.telemetry.logs.onboard_log.record_channels import (
    ACCURACIES,
    FIX_2D,
    RECEIVERS,
    SECOND,
    gps,
    utc_s,
)
from onboard.telemetry.logs.onboard_log.waiting_samples import ChannelSamples, joined
from onboard.telemetry.logs.onboard_log.windows import windows
from onboard.telemetry.mavlink.checksum import Flags, Ints

NEAR_RECORDS = 100
"""Largest distance of a fix and its accuracies in the log."""

_NEIGHBOURS = range(-4, 4)
"""Accuracies compared with a fix, relative to it: enough for four receivers."""


def followed_receiver(path: Path, window_bytes: int) -> int:
    """Return the receiver to follow: the first, or one that has fixes if the first has none.

    Receivers differ by metres, so a change midway would be a movement that never happened. The log
    is read only up to the first receiver's first fix, to its end if there is none.
    """
    fallback: int | None = None
    for window in windows(path, window_bytes):
        for number, layout in enumerate(window.layouts):
            if layout is None or layout.name not in RECEIVERS or not layout.timed:
                continue
            places = window.places(number)
            fields = Fields(layout, window.rows(number, places))
            fixed = fields.instance(SECOND.get(layout.name, 0))[fields.get("Status") >= FIX_2D]
            if (fixed == 0).any():
                return 0
            if len(fixed):
                lowest = int(fixed.min())
                fallback = lowest if fallback is None else min(fallback, lowest)
    return fallback or 0


class Fixes:
    """Turn GPS and GPA records of one receiver into parts of `gps` and `clock`."""

    def __init__(self, receiver: int) -> None:
        self._receiver = receiver
        self.instances: set[int] = set()
        """All receivers with records in the log."""
        self._fixes: list[tuple[ChannelSamples, Ints]] = []
        self._accuracies: list[tuple[ChannelSamples, Ints]] = []
        """Parts and boot clocks [us] of both."""

    def push(self, fields: Fields, number: Ints, time_us: Ints) -> list[ChannelSamples]:
        """Add the next records; return the UTC that they state.

        Parameters
        ----------
        fields
            GPS or GPA records.
        number
            Number of each among the timed records, shape (n,).
        time_us
            Its boot clock [us], shape (n,).
        """
        instance = fields.instance(SECOND.get(fields.name, 0))
        mine = instance == self._receiver
        if fields.name in ACCURACIES:
            columns = {
                "horizontal_sd_m": fields.known("HAcc", 0.0),
                "speed_sd_mps": fields.known("SAcc", 0.0),
            }
            part = ChannelSamples("accuracies", number, columns)
            self._accuracies.append((part.where(mine), time_us[mine]))
            return []
        self.instances |= {int(number) for number in np.unique(instance)}
        self._fixes.append((ChannelSamples("gps", number, gps(fields)).where(mine), time_us[mine]))
        return [ChannelSamples("clock", number, {"utc_s": utc_s(fields)}).where(mine)]

    def settle(self, count: int, *, final: bool = False) -> tuple[list[ChannelSamples], int]:
        """Return the fixes that are complete, and the number of the first that is not.

        Parameters
        ----------
        count
            Number of timed records so far; returned if all are complete.
        final
            Whether no more will come.
        """
        if not self._fixes:
            return [], count
        fixes, fix_us = _together(self._fixes)
        found = np.zeros(len(fix_us), np.bool_)
        if self._accuracies:
            accuracies, accuracy_us = _together(self._accuracies)
            found = _fill_in(fixes, fix_us, accuracies, accuracy_us)
            recent = accuracies.number >= count - 2 * NEAR_RECORDS
            self._accuracies = [(accuracies.where(recent), accuracy_us[recent])]
        waits = np.flatnonzero(~found & (fixes.number + NEAR_RECORDS >= count))
        if final or not len(waits):
            self._fixes = []
            return [fixes], count
        first = int(waits[0])
        self._fixes = [(fixes.where(slice(first, None)), fix_us[first:])]
        return [fixes.where(slice(0, first))], int(fixes.number[first])


def _together(kept: list[tuple[ChannelSamples, Ints]]) -> tuple[ChannelSamples, Ints]:
    time_us = np.concatenate([time_us for _, time_us in kept])
    number = np.concatenate([part.number for part, _ in kept])
    return joined([part for part, _ in kept]), time_us[np.argsort(number, kind="stable")]


def _fill_in(
    fixes: ChannelSamples, fix_us: Ints, accuracies: ChannelSamples, accuracy_us: Ints
) -> Flags:
    """Write the accuracies of the same instant into the fixes; return which fixes have them."""
    found = np.zeros(len(fix_us), np.bool_)
    if not len(accuracy_us):
        return found
    behind = np.searchsorted(accuracies.number, fixes.number)
    for neighbour in _NEIGHBOURS:
        at = behind + neighbour
        inside = np.clip(at, 0, len(accuracy_us) - 1)
        same = (at == inside) & ~found & (accuracy_us[inside] == fix_us)
        same &= np.abs(accuracies.number[inside] - fixes.number) <= NEAR_RECORDS
        for name, values in accuracies.columns.items():
            column: FloatArray = fixes.columns[name]
            column[same] = values[inside[same]]
        found |= same
    return found
