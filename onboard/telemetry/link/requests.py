"""What the daemon says to the autopilot: that it is there, and which telemetry it needs how often.

A HEARTBEAT a second, and a request for each needed message that does not come often enough by
itself. Nothing else is ever sent, and nothing to anyone but the followed autopilot. No clock and no
socket: times are arguments, what is to be sent is a result.
"""

import math

from onboard.telemetry.mavlink import layouts, packing
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import Signer
from onboard.telemetry.messages.rates import BACKOFF_MOST_S, NEEDS, WINDOW_S, Wanted

OWN_COMPONENT = 191
"""MAV_COMP_ID_ONBOARD_COMPUTER; the system is the autopilot's own."""

USUAL_SYSTEM = 1
"""System of the first HEARTBEATs where the profile names none (common practice, no source)."""

HEARTBEAT_EVERY_S = 1.0
REQUEST_GAP_S = 0.25

BYTES_PER_S_MOST = 300
"""In any second: four requests of at most 58 bytes, two HEARTBEATs of at most 34, signed."""

ACK_WAIT_S = 1.5
"""One request at a time: an answer does not say which message it is about."""

SILENT_S = 3.0
"""An autopilot that said nothing for so long may have restarted, and forgotten what was asked."""

REFUSALS, UNANSWERED, OPTIONAL_TRIES = 2, 5, 5
"""After so many the command is given up for a message (twice refused: one answer may have been
for somebody else), and a message that not every craft has is given up altogether."""

COMMAND_ACK = 77
ACCEPTED, LATER, IN_PROGRESS = 0, 1, 5
"""MAV_RESULT; all others are refusals."""

GROUP_RATE_MOST_HZ = 50


class Asking:
    """Decides what to send to the followed autopilot.

    Parameters
    ----------
    listen_only
        True sends nothing at all.
    signer
        Signs what is sent; None leaves it unsigned.
    system_id
        The system that will be followed, where the profile states it.
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
        self._beat_due_s = -math.inf
        self._sent_s = -math.inf
        self._heard_s = -math.inf
        self._begin(-math.inf)

    def _begin(self, now_s: float) -> None:
        """Know nothing of the autopilot: it is another one, or it may have restarted."""
        self._since_s = now_s
        self._wanted = {number: Wanted(number, need) for number, need in NEEDS.items()}
        self._waiting: tuple[Wanted, float] | None = None
        """What the last command asked for, and until when an answer is waited for."""
        self._commands = self._answers = 0

    def heard(self, frames: Frames, now_s: float) -> None:
        """Take note of what came. Frames of others than the followed autopilot count for nothing.

        Parameters
        ----------
        frames
            Frames of the link that may be used.
        now_s
            The caller's clock [s], which never goes back.
        """
        if self._followed is None:
            return
        system, component = self._followed
        mine = frames.where((frames.system_id == system) & (frames.component_id == component))
        if not len(mine):
            return
        if now_s - self._heard_s > SILENT_S:
            self._begin(now_s)
        self._heard_s = now_s
        for number, place in mine.by_message():
            if number in self._wanted:
                self._wanted[number].count(now_s, len(place))
            elif number == COMMAND_ACK:
                self._answered(mine, place, now_s)

    def due(self, now_s: float, system_id: int | None, component_id: int | None) -> bytes:
        """Return the bytes to send now, at most `BYTES_PER_S_MOST` in any second; mostly b"".

        Parameters
        ----------
        now_s
            The caller's clock [s], which never goes back.
        system_id, component_id
            The followed autopilot; None while there is none. Until then a HEARTBEAT is all that is
            sent: some routers and serial links stay silent towards those that say nothing.
        """
        if self._listen_only:
            return b""
        self._follow(system_id, component_id)
        if component_id == OWN_COMPONENT:
            # It would take our frames for its own.
            return b""
        sent = b""
        if now_s >= self._beat_due_s:
            late = now_s > self._beat_due_s + HEARTBEAT_EVERY_S
            self._beat_due_s = (now_s if late else self._beat_due_s) + HEARTBEAT_EVERY_S
            sent = self._frame(*packing.heartbeat())
        return sent + self._request(now_s)

    def missing(self, now_s: float) -> tuple[int, ...]:
        """Return the messages that are needed and do not come often enough, by id."""
        return tuple(
            number
            for number, one in self._wanted.items()
            if not one.need.optional and not one.comes(now_s)
        )

    def _follow(self, system_id: int | None, component_id: int | None) -> None:
        # 0 stands for all of them, so it is nobody to ask.
        followed = (system_id, component_id) if system_id and component_id else None
        if followed != self._followed:
            self._followed = followed
            self._heard_s = -math.inf
            self._begin(-math.inf)
        if followed is not None:
            self._own_system = followed[0]

    def _request(self, now_s: float) -> bytes:
        """Return the next request that is due, if there is one."""
        if self._waiting and now_s >= self._waiting[1]:
            self._waiting[0].unanswered += 1
            self._waiting = None
        if (
            self._followed is None
            or self._waiting
            or now_s - self._sent_s < REQUEST_GAP_S
            or now_s - self._heard_s > SILENT_S
            or now_s - self._since_s < WINDOW_S
        ):
            return b""
        due = [one for one in self._wanted.values() if self._is_due(one, now_s)]
        if not due:
            return b""
        # The least tried first: one that never answers must not keep the others waiting.
        one = min(due, key=lambda each: each.tries)
        if self._by_group(one):
            return self._ask_group(one, due, now_s)
        one.asked(now_s)
        self._sent_s = now_s
        self._waiting = (one, now_s + ACK_WAIT_S)
        self._commands += 1
        return self._frame(
            *packing.message_interval(*self._followed, one.message_id, one.need.rate_hz)
        )

    def _is_due(self, one: Wanted, now_s: float) -> bool:
        if one.comes(now_s):
            if now_s - one.asked_s > BACKOFF_MOST_S:
                one.tries = one.group_tries = 0
            return False
        if one.need.optional and (
            one.tries >= OPTIONAL_TRIES
            or self._in_vain(one)
            or any(each.need.optional and each.comes(now_s) for each in self._wanted.values())
        ):
            return False
        return now_s >= one.due_s

    def _in_vain(self, one: Wanted) -> bool:
        """Return whether the command is refused, or not answered, for this message or for all."""
        return (
            one.refusals >= REFUSALS
            or one.unanswered >= UNANSWERED
            or (not self._answers and self._commands >= UNANSWERED)
        )

    def _by_group(self, one: Wanted) -> bool:
        """Return whether to ask the older way; by turns where the command was just not answered."""
        return self._in_vain(one) and (one.refusals >= REFUSALS or one.group_tries <= one.tries / 2)

    def _ask_group(self, one: Wanted, due: list[Wanted], now_s: float) -> bytes:
        """Ask for a group, at a rate that slows down nothing in it that already comes faster."""
        assert self._followed is not None
        group = one.need.groups[one.group_tries % len(one.need.groups)]
        members = [each for each in self._wanted.values() if group in each.need.groups]
        rate_hz = max(math.ceil(max(each.need.rate_hz, each.rate_hz(now_s))) for each in members)
        for each in due:
            if each is one or (each in members and self._in_vain(each)):
                each.asked(now_s)
                each.group_tries += 1
                # Nobody answers this request: its effect takes the window to be seen.
                each.due_s = max(each.due_s, now_s + WINDOW_S)
        if rate_hz > GROUP_RATE_MOST_HZ:
            return b""
        self._sent_s = now_s
        return self._frame(*packing.data_stream(*self._followed, group, rate_hz))

    def _answered(self, frames: Frames, place: Ints, now_s: float) -> None:
        """Read COMMAND_ACK; one that names somebody else is for somebody else."""
        rows = frames.rows(layouts.layout(COMMAND_ACK), place)
        for row in rows[rows["command"] == packing.SET_MESSAGE_INTERVAL]:
            if row["target_system"] not in (0, self._own_system):
                continue
            if row["target_component"] not in (0, OWN_COMPONENT):
                continue
            self._answers += 1
            if self._waiting is None:
                continue
            one = self._waiting[0]
            one.unanswered = 0
            if row["result"] == ACCEPTED:
                one.refusals = 0
                # It takes the whole window to see whether it helped.
                one.due_s = max(one.due_s, now_s + WINDOW_S)
            elif row["result"] not in (LATER, IN_PROGRESS):
                one.refusals += 1
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
