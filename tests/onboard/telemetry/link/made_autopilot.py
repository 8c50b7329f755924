"""A simulated autopilot that receives requests, on a link without delay.

It reads them with pymavlink, and accepts, refuses or ignores them as a test sets it up.
"""

import numpy as np
import pymavlink.dialects.v20.all as dialect

from onboard.telemetry.link.requests import Requests
from onboard.telemetry.mavlink import packing
from onboard.telemetry.mavlink.frames import Frames, with_room
from onboard.telemetry.mavlink.headers import read_words
from onboard.telemetry.messages.table import MESSAGES, REQUESTED
from tests.onboard.telemetry.made_messages import ID

KEY = bytes(range(32))
TICK_S = 0.2
SYSTEM, COMPONENT = 7, 1
PLAIN = {n: message for n, message in MESSAGES.items() if message.rate_hz and not message.optional}
OPTIONAL = set(REQUESTED) - set(PLAIN)

ACCEPTED, LATER, DENIED, UNSUPPORTED, FAILED = (
    dialect.MAV_RESULT_ACCEPTED,
    dialect.MAV_RESULT_TEMPORARILY_REJECTED,
    dialect.MAV_RESULT_DENIED,
    dialect.MAV_RESULT_UNSUPPORTED,
    dialect.MAV_RESULT_FAILED,
)

GROUPS = {message.groups[0] for message in REQUESTED.values() if message.groups}

# Where the MAVLink definitions leave it open, this autopilot has a message in its first group.
STREAMS = {
    group: tuple(number for number, one in REQUESTED.items() if one.groups[:1] == (group,))
    for group in sorted(GROUPS)
}


def frame(message_id: int, payload: bytes = b"\1", sender=(SYSTEM, COMPONENT)) -> bytes:
    return packing.pack(message_id, payload, 0, *sender)


def frames(parts: list[bytes]) -> Frames:
    sizes = np.array([len(part) for part in parts], np.int64)
    marker = np.cumsum(sizes) - sizes
    data = with_room(*parts)
    ids = np.array([int.from_bytes(part[7:10], "little") for part in parts], np.int64)
    word = read_words(data, marker) if parts else marker
    return Frames(data, marker, sizes, np.zeros_like(marker), word, ids, 0)


def ack(result: int, command: int = 511, target=(0, 0), sender=(SYSTEM, COMPONENT)) -> bytes:
    link = dialect.MAVLink(None, srcSystem=sender[0], srcComponent=sender[1])
    return dialect.MAVLink_command_ack_message(command, result, 0, 0, *target).pack(link)


def read(data: bytes, signed: bool = False) -> list:
    link = dialect.MAVLink(None)
    if signed:
        link.signing.secret_key = KEY
    messages = link.parse_buffer(bytearray(data)) or [] if data else []
    assert sum(len(message.get_msgbuf()) for message in messages) == len(data)
    return messages


class Autopilot:
    """Sends messages at its rates, and follows requests as configured."""

    def __init__(
        self, rates: dict[int, float], complies: bool = True, streams: bool = True
    ) -> None:
        self.rates = {ID["HEARTBEAT"]: 1.0, **rates}
        self.complies, self.streams = complies, streams
        self.result: dict[int, int | None] = {}
        """Its answer for a message; None: no answer."""
        self.default: int | None = ACCEPTED
        self.sent = dict.fromkeys(REQUESTED, 0)
        self._owed: dict[int, float] = {}

    def step(self, received: list) -> list[bytes]:
        """Return the frames of one tick."""
        out = []
        for message in received:
            if message.get_type() == "COMMAND_LONG":
                wanted = int(message.param1)
                result = self.result.get(wanted, self.default)
                if result == ACCEPTED and self.complies:
                    self.rates[wanted] = 1e6 / message.param2
                if result is not None:
                    out.append(ack(result))
            elif message.get_type() == "REQUEST_DATA_STREAM" and self.streams:
                for wanted in STREAMS.get(message.req_stream_id, ()):
                    self.rates[wanted] = float(message.req_message_rate)
        for number, rate in self.rates.items():
            self._owed[number] = self._owed.get(number, 0.0) + rate * TICK_S
            for _ in range(int(self._owed[number])):
                out.append(frame(number))
                self._owed[number] -= 1
        return out


class Run:
    """A link without delay between daemon and autopilot; logs the messages sent, with times."""

    def __init__(self, autopilot: Autopilot, **settings) -> None:
        self.autopilot, self.requests = autopilot, Requests(**settings)
        self.now_s, self.log, self._received = 1000.0, [], []

    def go(self, seconds: float, deaf: bool = False, dumb: bool = False) -> list[tuple]:
        """Continue; a `deaf` autopilot receives nothing; from a `dumb` one nothing is received."""
        first = len(self.log)
        for _ in range(round(seconds / TICK_S)):
            self.now_s += TICK_S
            came = self.autopilot.step([] if deaf else self._received)
            self.requests.observe(frames([] if dumb else came), self.now_s)
            self._received = read(self.requests.due(self.now_s, SYSTEM, COMPONENT))
            self.log += [(self.now_s, message) for message in self._received]
        return self.log[first:]


def kinds(log: list[tuple], name: str) -> list[tuple[float, int, float]]:
    """Return time, requested message or group, and rate of each request."""
    if name == "COMMAND_LONG":
        return [
            (at, int(m.param1), 1e6 / m.param2) for at, m in log if m.get_type() == "COMMAND_LONG"
        ]
    return [
        (at, m.req_stream_id, m.req_message_rate)
        for at, m in log
        if m.get_type() == "REQUEST_DATA_STREAM"
    ]


def commands(log):
    return kinds(log, "COMMAND_LONG")


def streams(log):
    return kinds(log, "REQUEST_DATA_STREAM")


def needed() -> dict[int, float]:
    """Rates of all that is needed: of the optional messages one a channel, the last."""
    one_a_channel = {REQUESTED[n].channel: n for n in REQUESTED if n in OPTIONAL}
    return {number: REQUESTED[number].rate_hz for number in (*PLAIN, *one_a_channel.values())}


def missing(requests: Requests, now_s: float) -> tuple[int, ...]:
    """Return the ids of needed messages that arrive too rarely."""
    return tuple(
        number
        for number, one in requests.wanted.items()
        if not one.message.optional and not one.comes(now_s)
    )
