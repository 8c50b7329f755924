"""Which craft is followed: the autopilot whose HEARTBEAT comes first, or the one chosen."""

import numpy as np

from onboard.telemetry.frames import Frames
from onboard.telemetry.layouts import HEARTBEAT, layout

AUTOPILOT_INVALID = 8
"""MAV_AUTOPILOT_INVALID: what a ground station, a camera or a companion computer states."""

NO_CRAFT_TYPES = (5, 6, 18, 26, 27, 30, 31, 33, 34, 36)
"""MAV_TYPE of what is no craft: antenna tracker, ground station, onboard controller, gimbal, ADS-B
receiver, camera, charging station, servo, open drone identification, battery."""

HELD_AT_MOST = 20_000
"""Frames kept while no autopilot has been heard; older ones are let go first."""


class CraftFilter:
    """Passes the frames of one autopilot, holding those that came before its first HEARTBEAT.

    Parameters
    ----------
    system_id
        The system to follow; None follows the first autopilot heard.
    """

    def __init__(self, system_id: int | None = None) -> None:
        self._wanted = system_id
        self._held: list[Frames] = []
        self._held_count = 0
        self.system_id: int | None = None
        self.component_id: int | None = None
        self.others: set[int] = set()
        """Other systems whose autopilot was heard on the same link."""

    def push(self, frames: Frames) -> list[Frames]:
        """Give the frames of the followed autopilot, in order."""
        self._look(frames)
        if self.system_id is None:
            self._hold(frames)
            return []
        ready, self._held, self._held_count = [*self._held, frames], [], 0
        return [
            part.where(
                (part.system_id == self.system_id) & (part.component_id == self.component_id)
            )
            for part in ready
        ]

    def _look(self, frames: Frames) -> None:
        beats = frames.where(frames.message_id == HEARTBEAT)
        if not len(beats):
            return
        rows = beats.rows(layout(HEARTBEAT))
        craft = (rows["autopilot"] != AUTOPILOT_INVALID) & ~np.isin(rows["type"], NO_CRAFT_TYPES)
        for system, component in zip(
            beats.system_id[craft].tolist(), beats.component_id[craft].tolist(), strict=True
        ):
            if self.system_id is None and self._wanted in (None, system):
                self.system_id, self.component_id = system, component
            elif system != self.system_id:
                self.others.add(system)

    def _hold(self, frames: Frames) -> None:
        self._held.append(frames)
        self._held_count += len(frames)
        while self._held_count - len(self._held[0]) > HELD_AT_MOST:
            self._held_count -= len(self._held.pop(0))
