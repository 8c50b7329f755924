"""Which craft is followed: the autopilot that was chosen, or the one that the link is mostly about.

A HEARTBEAT tells an autopilot from a ground station or a camera. Another craft may be heard on the
same link, even first; it sends less there than the one that the link belongs to, so the choice
waits for a moment.
"""

import numpy as np

from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.frames import Frames, joined
from onboard.telemetry.mavlink.layouts import HEARTBEAT, layout

AUTOPILOT_INVALID = 8
"""MAV_AUTOPILOT_INVALID: what a ground station, a camera or a companion computer states."""

NO_CRAFT_TYPES = (5, 6, 18, 26, 27, 30, 31, 33, 34, 36)
"""MAV_TYPE of what is no craft: antenna tracker, ground station, onboard controller, gimbal, ADS-B
receiver, camera, charging station, servo, open drone identification, battery."""

CHOOSE_AFTER_US = 1_200_000
"""Autopilots send a HEARTBEAT a second: so long after the first, all of them have been heard ..."""

CHOOSE_AFTER_FRAMES = 30
"""... if this many frames came meanwhile: fewer say little about who sends most."""

CHOOSE_AT_LAST_FRAMES, CHOOSE_AT_LAST_US = 150, 3_000_000
"""With so many frames (a burst), or after so long (a quiet link), the choice is made anyway."""

HELD_MOST_FRAMES = 20_000
"""Frames kept while no autopilot has been heard; older ones are let go first."""

LOOSE_MOST, LOOSE_MOST_BYTES = 256, 1 << 20
"""So many stretches of the link, or bytes of them, are kept as they came. A frame alone in one
takes twenty times its size, and what is no frame would be kept with it: then they are joined."""


class CraftFilter:
    """Passes the frames of one autopilot, from the first on; holds them until it is chosen.

    Parameters
    ----------
    system_id
        The system to follow; None chooses the autopilot that sends most.
    """

    def __init__(self, system_id: int | None = None) -> None:
        self._wanted = system_id
        self._held: list[Frames] = []
        self._held_count = 0
        self._joined = self._loose_bytes = 0
        self._heard: dict[int, tuple[int, int]] = {}
        """Autopilots by system: component, and which frame of the link was its first HEARTBEAT."""
        self._first_beat_us: int | None = None
        self.frames = 0
        """Frames pushed so far, of any sender."""
        self.system_id: int | None = None
        self.component_id: int | None = None

    @property
    def others(self) -> set[int]:
        """Other systems whose autopilot was heard on the same link."""
        return set(self._heard) - {self.system_id}

    def push(self, frames: Frames) -> list[Frames]:
        """Return the frames of the followed autopilot, in order."""
        self._hear(frames)
        if len(frames):
            self._held.append(frames)
            self._held_count += len(frames)
            self._loose_bytes += frames.data.nbytes
        if self.system_id is None:
            self._choose_if_due()
            self._join_if_due()
        return self._pass_on()

    def silence(self, now_us: int) -> list[Frames]:
        """Choose if nothing that comes from now on [us] can change the choice."""
        if self._first_beat_us is None or now_us < self._first_beat_us + CHOOSE_AT_LAST_US:
            return []
        return self.finish()

    def finish(self) -> list[Frames]:
        """Choose among what was heard; the stream has ended."""
        if self.system_id is None and self._first_beat_us is not None:
            self._choose(np.concatenate([part.system_id for part in self._held]), self.frames)
        return self._pass_on() if self._held else []

    def _hear(self, frames: Frames) -> None:
        """Note the autopilots among the senders."""
        place = np.flatnonzero(frames.message_id == HEARTBEAT)
        if len(place):
            beats = frames.where(place)
            rows = beats.rows(layout(HEARTBEAT))
            craft = rows["autopilot"] != AUTOPILOT_INVALID
            craft &= ~np.isin(rows["type"], NO_CRAFT_TYPES)
            systems, components = beats.system_id, beats.component_id
            # The first of each system is enough.
            for n in np.unique(np.where(craft, systems, -1), return_index=True)[1].tolist():
                if craft[n]:
                    first = (int(components[n]), self.frames + int(place[n]))
                    self._heard.setdefault(int(systems[n]), first)
            heard = craft if self._wanted is None else craft & (systems == self._wanted)
            if self._first_beat_us is None and heard.any():
                self._first_beat_us = int(beats.stamp_us[np.argmax(heard)])
        self.frames += len(frames)

    def _choose_if_due(self) -> None:
        while len(self._held) > 1 and self._held_count - len(self._held[0]) > HELD_MOST_FRAMES:
            self._held_count -= len(self._held.pop(0))
            self._joined = max(self._joined - 1, 0)
        if self._wanted is not None:
            if self._wanted in self._heard:
                self._choose(np.empty(0, np.int64), self.frames)
            return
        if self._first_beat_us is None or not self._held:
            return
        system = np.concatenate([part.system_id for part in self._held])
        since_us = np.concatenate([part.stamp_us for part in self._held]) - self._first_beat_us
        count = np.arange(len(system))
        due = (since_us >= CHOOSE_AFTER_US) & (count >= CHOOSE_AFTER_FRAMES)
        due |= (since_us >= CHOOSE_AT_LAST_US) | (count >= CHOOSE_AT_LAST_FRAMES)
        # Not before the first HEARTBEAT itself, however much came in front of it.
        first = self.frames - len(system)
        due &= count > min(index for _, index in self._heard.values()) - first
        if np.any(due):
            until = int(np.flatnonzero(due)[0])
            self._choose(system[:until], first + until)

    def _join_if_due(self) -> None:
        loose = len(self._held) - self._joined
        if loose >= LOOSE_MOST or self._loose_bytes >= LOOSE_MOST_BYTES:
            self._held[self._joined :] = [joined(self._held[self._joined :])]
            self._joined, self._loose_bytes = len(self._held), 0

    def _choose(self, senders: Ints, until: int) -> None:
        """Choose who sends most among those heard before frame number `until`."""
        candidates = [system for system, (_, index) in self._heard.items() if index < until]
        if self._wanted is not None:
            candidates = [self._wanted]
        self.system_id = max(candidates, key=lambda one: np.count_nonzero(senders == one))
        self.component_id = self._heard[self.system_id][0]

    def _pass_on(self) -> list[Frames]:
        if self.system_id is None:
            return []
        ready, self._held = self._held, []
        self._held_count = self._joined = self._loose_bytes = 0
        return [
            part.where(
                (part.system_id == self.system_id) & (part.component_id == self.component_id)
            )
            for part in ready
        ]
