"""Which craft to follow: the system chosen, or the autopilot that sends most on the link.

HEARTBEAT distinguishes an autopilot from a ground station or a camera. Another craft may be
received on the same link, even first; it sends less there than the craft that the link belongs to,
so the choice waits for a moment.
"""

import numpy as np

from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.frames import Frames, joined
from onboard.telemetry.mavlink.layouts import HEARTBEAT, layout

AUTOPILOT_INVALID = 8
"""MAV_AUTOPILOT_INVALID: stated by a ground station, a camera or a companion computer."""

OTHER_TYPES = (5, 6, 18, 26, 27, 30, 31, 33, 34, 36)
"""MAV_TYPE of other devices: antenna tracker, ground station, onboard controller, gimbal, ADS-B
receiver, camera, charging station, servo, open drone identification, battery."""

CHOOSE_AFTER_US = 1_200_000
"""Wait after the first HEARTBEAT [us]: autopilots send one a second, so all have been seen ..."""

CHOOSE_AFTER_FRAMES = 30
"""... if this many frames came meanwhile: fewer show little of who sends most."""

CHOOSE_AT_LAST_FRAMES, CHOOSE_AT_LAST_US = 150, 3_000_000
"""Number of frames (a burst) or time [us] (a quiet link) after which the choice is made anyway."""

WAITING_MOST_FRAMES = 20_000
"""Frames kept while no autopilot has been seen; the oldest are dropped first."""

LOOSE_MOST, LOOSE_MOST_BYTES = 256, 1 << 20
"""Stretches of the link, or bytes of them, to keep before joining them into one: a frame alone in
its stretch takes twenty times its size, and the junk around it would be kept with it."""


class CraftFilter:
    """Pass the frames of one autopilot, from the first on; keep all frames until it is chosen.

    Parameters
    ----------
    system_id
        The system to follow; None chooses the autopilot that sends most.
    """

    def __init__(self, system_id: int | None = None) -> None:
        self._wanted = system_id
        self.waiting: list[Frames] = []
        """Frames kept until the choice."""
        self._waiting_count = 0
        self._joined = self._loose_bytes = 0
        self._autopilots: dict[int, tuple[int, int]] = {}
        """Autopilots by system: component, and index of its first HEARTBEAT on the link."""
        self._first_seen_us: int | None = None
        self.frames = 0
        """Frames pushed so far, of any sender."""
        self.system_id: int | None = None
        self.component_id: int | None = None

    @property
    def others(self) -> set[int]:
        """Other systems with an autopilot on the same link."""
        return set(self._autopilots) - {self.system_id}

    def push(self, frames: Frames) -> list[Frames]:
        """Return the frames of the followed autopilot, in order."""
        self._note_autopilots(frames)
        if len(frames):
            self.waiting.append(frames)
            self._waiting_count += len(frames)
            self._loose_bytes += frames.data.nbytes
        if self.system_id is None:
            self._choose_if_due()
        if self.system_id is None:
            self._join_if_due()
        return self._pass_on()

    def silence(self, now_us: int) -> list[Frames]:
        """Choose if frames stamped from now on [us] could not change the choice."""
        if self._first_seen_us is None or now_us < self._first_seen_us + CHOOSE_AT_LAST_US:
            return []
        return self.finish()

    def finish(self) -> list[Frames]:
        """Choose among the autopilots seen; the stream has ended."""
        if self.system_id is None and self._first_seen_us is not None:
            self._choose(np.concatenate([part.system_id for part in self.waiting]), self.frames)
        return self._pass_on() if self.waiting else []

    def _note_autopilots(self, frames: Frames) -> None:
        """Note the autopilots among the senders."""
        place = np.flatnonzero(frames.message_id == HEARTBEAT)
        if len(place):
            beats = frames.where(place)
            rows = beats.rows(layout(HEARTBEAT))
            craft = rows["autopilot"] != AUTOPILOT_INVALID
            craft &= ~np.isin(rows["type"], OTHER_TYPES)
            systems, components = beats.system_id, beats.component_id
            # The first of each system is enough.
            for n in np.unique(np.where(craft, systems, -1), return_index=True)[1].tolist():
                if craft[n]:
                    first = (int(components[n]), self.frames + int(place[n]))
                    self._autopilots.setdefault(int(systems[n]), first)
            eligible = craft if self._wanted is None else craft & (systems == self._wanted)
            if self._first_seen_us is None and eligible.any():
                self._first_seen_us = int(beats.stamp_us[np.argmax(eligible)])
        self.frames += len(frames)

    def _choose_if_due(self) -> None:
        while (
            len(self.waiting) > 1
            and self._waiting_count - len(self.waiting[0]) > WAITING_MOST_FRAMES
        ):
            self._waiting_count -= len(self.waiting.pop(0))
            self._joined = max(self._joined - 1, 0)
        if self._wanted is not None:
            if self._wanted in self._autopilots:
                self._choose(np.empty(0, np.int64), self.frames)
            return
        if self._first_seen_us is None or not self.waiting:
            return
        system = np.concatenate([part.system_id for part in self.waiting])
        since_us = np.concatenate([part.stamp_us for part in self.waiting]) - self._first_seen_us
        count = np.arange(len(system))
        due = (since_us >= CHOOSE_AFTER_US) & (count >= CHOOSE_AFTER_FRAMES)
        due |= (since_us >= CHOOSE_AT_LAST_US) | (count >= CHOOSE_AT_LAST_FRAMES)
        # Not before the first HEARTBEAT itself, however many frames preceded it.
        first = self.frames - len(system)
        due &= count > min(index for _, index in self._autopilots.values()) - first
        if np.any(due):
            until = int(np.flatnonzero(due)[0])
            self._choose(system[:until], first + until)

    def _join_if_due(self) -> None:
        loose = len(self.waiting) - self._joined
        if loose >= LOOSE_MOST or self._loose_bytes >= LOOSE_MOST_BYTES:
            self.waiting[self._joined :] = [joined(self.waiting[self._joined :])]
            self._joined, self._loose_bytes = len(self.waiting), 0

    def _choose(self, senders: Ints, until: int) -> None:
        """Choose the autopilot that sends most among those seen before frame number `until`."""
        candidates = [system for system, (_, index) in self._autopilots.items() if index < until]
        if self._wanted is not None:
            candidates = [self._wanted]
        self.system_id = max(candidates, key=lambda sender: np.count_nonzero(senders == sender))
        self.component_id = self._autopilots[self.system_id][0]

    def _pass_on(self) -> list[Frames]:
        if self.system_id is None:
            return []
        ready, self.waiting = self.waiting, []
        self._waiting_count = self._joined = self._loose_bytes = 0
        return [
            part.where(
                (part.system_id == self.system_id) & (part.component_id == self.component_id)
            )
            for part in ready
        ]
