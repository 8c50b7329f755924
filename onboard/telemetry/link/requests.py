"""Everything the daemon sends to the autopilot: its own HEARTBEAT and requests for telemetry.

One HEARTBEAT per second, and a request for each message of the table whose rate falls short of the
wanted one. Nothing else is ever sent, and only to the followed autopilot. No clock and no socket:
times are arguments, the bytes to send are a result.
"""

import math
from collections import Counter

import numpy as np

from onboard.telemetry.link.rates import BACKOFF_MOST_S, WINDOW_S, Wanted
from onboard.telemetry.mavlink import headers, layouts, packing
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import Signer
from onboard.telemetry.messages.table import REQUESTED

OWN_COMPONENT = 191
"""MAV_COMP_ID_ONBOARD_COMPUTER; the system id is that of the autopilot."""

USUAL_SYSTEM = 1
"""System id of the first HEARTBEATs if the profile names none (common practice, no source)."""

HEARTBEAT_EVERY_S = 1.0
REQUEST_GAP_S = 0.25

BYTES_PER_S_MOST = 300
"""Largest number of bytes sent in any second: four requests of at most 58, two HEARTBEATs of 34,
signed."""

ACK_WAIT_S = 1.5
"""Wait for an answer [s]; one request at a time, as an answer does not name the message."""

SILENT_S = 3.0
"""An autopilot silent for this long may have restarted and forgotten the requests."""

REFUSALS, UNANSWERED, OPTIONAL_TRIES = 2, 5, 5
"""Counts after which the command is given up for a message (two refusals: one answer may have been
meant for another sender), and after which an optional message is given up."""

COMMAND_ACK = 77
ACCEPTED, LATER, IN_PROGRESS = 0, 1, 5
"""MAV_RESULT; every other value is a refusal."""

GROUP_RATE_MOST_HZ = 50


class Requests:
    """Decide what to send to the followed autopilot.

    Parameters
    ----------
    listen_only
        Send nothing.
    signer
        Signs outgoing frames; None leaves them unsigned.
    system_id
        The system to be followed, where the profile states it.
    """

    def __init__(
        self,
        listen_only: bool = False,
        signer: Signer | None = None,
        system_id: int | None = None,
    ) -> None:
        self._listen_only = listen_only
        self._signer = signer
        self._own_system = system_id or USUAL_SYSTEM
        self._followed: tuple[int, int] | None = None
        self._sequence = 0
        self._heartbeat_due_s = -math.inf
        self._sent_s = -math.inf
        self._last_seen_s = -math.inf
        self._begin(-math.inf)

    def _begin(self, now_s: float) -> None:
        """Reset the state: the autopilot is a different one, or may have restarted."""
        self._since_s = now_s
        self.wanted = {number: Wanted(message) for number, message in REQUESTED.items()}
        """State of each requested message, by id."""
        self._waiting: tuple[Wanted, float] | None = None
        """Message of the last command, and the deadline for its answer."""
        self._commands = self._answers = 0

    def observe(self, frames: Frames, now_s: float) -> None:
        """Count arrivals and read answers; frames of other senders are ignored.

        Parameters
        ----------
        frames
            Frames from the link, past the signature gate.
        now_s
            Monotonic time [s].
        """
        if self._followed is None:
            return
        system, component = self._followed
        # A few frames at a time, for which arrays are too dear.
        sender = system | component << 8
        numbers = Counter(
            number
            for word, number in zip(frames.word.tolist(), frames.message_id.tolist(), strict=True)
            if headers.senders(word) == sender
        )
        if not numbers:
            return
        if now_s - self._last_seen_s > SILENT_S:
            self._begin(now_s)
        self._last_seen_s = now_s
        for number, count in numbers.items():
            if number in self.wanted:
                self.wanted[number].count(now_s, count)
        if COMMAND_ACK in numbers:
            mine = (frames.system_id == system) & (frames.component_id == component)
            place = np.flatnonzero(mine & (frames.message_id == COMMAND_ACK))
            self._read_answers(frames, place, now_s)

    def due(self, now_s: float, system_id: int | None, component_id: int | None) -> bytes:
        """Return the bytes to send now, at most `BYTES_PER_S_MOST` in any second; mostly b"".

        Parameters
        ----------
        now_s
            Monotonic time [s].
        system_id, component_id
            The followed autopilot; None while there is none. Until then only HEARTBEATs are sent:
            some routers and serial links send nothing to a silent peer.
        """
        if self._listen_only:
            return b""
        self._follow(system_id, component_id)
        if component_id == OWN_COMPONENT:
            # It would mistake the daemon's frames for its own.
            return b""
        sent = b""
        if now_s >= self._heartbeat_due_s:
            late = now_s > self._heartbeat_due_s + HEARTBEAT_EVERY_S
            self._heartbeat_due_s = (now_s if late else self._heartbeat_due_s) + HEARTBEAT_EVERY_S
            sent = self._frame(*packing.heartbeat())
        return sent + self._request(now_s)

    def _follow(self, system_id: int | None, component_id: int | None) -> None:
        # Id 0 is the broadcast address: no single component to ask.
        followed = (system_id, component_id) if system_id and component_id else None
        if followed != self._followed:
            self._followed = followed
            self._last_seen_s = -math.inf
            self._begin(-math.inf)
        if followed is not None:
            self._own_system = followed[0]

    def _request(self, now_s: float) -> bytes:
        """Return the next request that is due, b"" if there is none."""
        if self._waiting and now_s >= self._waiting[1]:
            self._waiting[0].unanswered += 1
            self._waiting = None
        if (
            self._followed is None
            or self._waiting
            or now_s - self._sent_s < REQUEST_GAP_S
            or now_s - self._last_seen_s > SILENT_S
            or now_s - self._since_s < WINDOW_S
        ):
            return b""
        due = [wanted for wanted in self.wanted.values() if self._is_due(wanted, now_s)]
        if not due:
            return b""
        # Fewest tries first: a message that never comes must not starve the others.
        wanted = min(due, key=lambda each: each.tries)
        if self._by_group(wanted):
            return self._request_group(wanted, due, now_s)
        wanted.requested(now_s)
        self._sent_s = now_s
        self._waiting = (wanted, now_s + ACK_WAIT_S)
        self._commands += 1
        return self._frame(
            *packing.message_interval(*self._followed, wanted.message.id, wanted.message.rate_hz)
        )

    def _is_due(self, wanted: Wanted, now_s: float) -> bool:
        if wanted.comes(now_s):
            if now_s - wanted.requested_s > BACKOFF_MOST_S:
                wanted.tries = wanted.group_tries = 0
            return False
        if wanted.message.optional and (
            wanted.tries >= OPTIONAL_TRIES
            or self._command_fails(wanted)
            or any(
                each.message.optional
                and each.message.channel == wanted.message.channel
                and each.comes(now_s)
                for each in self.wanted.values()
            )
        ):
            return False
        return now_s >= wanted.due_s

    def _command_fails(self, wanted: Wanted) -> bool:
        """Return whether the command is refused or unanswered, for this message or for all."""
        return (
            wanted.refusals >= REFUSALS
            or wanted.unanswered >= UNANSWERED
            or (not self._answers and self._commands >= UNANSWERED)
        )

    def _by_group(self, wanted: Wanted) -> bool:
        """Return whether to request a stream group; alternate where commands go unanswered."""
        return self._command_fails(wanted) and (
            wanted.refusals >= REFUSALS or wanted.group_tries <= wanted.tries / 2
        )

    def _request_group(self, wanted: Wanted, due: list[Wanted], now_s: float) -> bytes:
        """Request a group, at a rate that slows down none of its messages."""
        assert self._followed is not None
        group = wanted.message.groups[wanted.group_tries % len(wanted.message.groups)]
        members = [each for each in self.wanted.values() if group in each.message.groups]
        rate_hz = max(math.ceil(max(each.message.rate_hz, each.rate_hz(now_s))) for each in members)
        for each in due:
            if each is wanted or (each in members and self._command_fails(each)):
                each.requested(now_s)
                each.group_tries += 1
                # There is no answer to this request: its effect shows only after the window.
                each.due_s = max(each.due_s, now_s + WINDOW_S)
        if rate_hz > GROUP_RATE_MOST_HZ:
            return b""
        self._sent_s = now_s
        return self._frame(*packing.data_stream(*self._followed, group, rate_hz))

    def _read_answers(self, frames: Frames, place: Ints, now_s: float) -> None:
        """Read COMMAND_ACK, except those addressed to other senders."""
        rows = frames.rows(layouts.layout(COMMAND_ACK), place)
        for row in rows[rows["command"] == packing.SET_MESSAGE_INTERVAL]:
            if row["target_system"] not in (0, self._own_system):
                continue
            if row["target_component"] not in (0, OWN_COMPONENT):
                continue
            self._answers += 1
            if self._waiting is None:
                continue
            wanted = self._waiting[0]
            wanted.unanswered = 0
            if row["result"] == ACCEPTED:
                wanted.refusals = 0
                # Whether it helped shows only after the window.
                wanted.due_s = max(wanted.due_s, now_s + WINDOW_S)
            elif row["result"] not in (LATER, IN_PROGRESS):
                wanted.refusals += 1
            self._waiting = None

    def _frame(self, message_id: int, payload: bytes) -> bytes:
        frame = packing.pack(
            message_id,
            payload,
            self._sequence,
            self._own_system,
            OWN_COMPONENT,
            signer=self._signer,
        )
        self._sequence = (self._sequence + 1) % 256
        return frame
