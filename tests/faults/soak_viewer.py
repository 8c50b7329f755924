"""The soak's own viewer: the feed's snapshots, pauses and answers."""

import contextlib
import json
import socket
import threading
import time
from typing import Any


class Viewer:
    """Reads a feed in a thread from its start to its end.

    Parameters
    ----------
    port
        The feed's port on this machine.
    """

    def __init__(self, port: int) -> None:
        self.last: dict[str, Any] | None = None
        self.last_s = self._before_s = self.came_s = time.monotonic()
        self.gaps: list[tuple[float, float]] = []
        """When each snapshot came, and how long after the one before [s]."""
        self.unknown_power: list[tuple[float, float]] = []
        """Stretches without a known power: begin and end [s]."""
        self.alerts: list[tuple[float, str]] = []
        """When each alert came up, each time."""
        self.left: list[tuple[float, float]] = []
        """Share of the charge left, whenever it changed by a hundredth."""
        self.close_at_s = float("inf")
        self.faulty_lines = 0
        self._acks: dict[int, dict[str, Any]] = {}
        self._on: set[str] = set()
        self._next_id = 1
        self._changed = threading.Condition()
        self._socket = socket.create_connection(("127.0.0.1", port), 10)
        self._socket.settimeout(None)
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        with contextlib.suppress(OSError, ValueError), self._socket.makefile("rb") as lines:
            for line in lines:
                try:
                    message = json.loads(line)
                except ValueError:
                    # Only the last line of a killed daemon may be truncated.
                    self.faulty_lines += line.endswith(b"\n")
                    continue
                with self._changed:
                    if message["kind"] == "snapshot":
                        self._take(message)
                    elif message["kind"] == "ack" and message["id"] is not None:
                        self._acks[message["id"]] = message
                    self._changed.notify_all()

    def _take(self, snapshot: dict[str, Any]) -> None:
        now_s = time.monotonic()
        if now_s <= self.close_at_s:
            self.gaps.append((now_s, now_s - self._before_s))
        self._before_s = self.last_s = now_s
        self.last = snapshot
        if snapshot["power_w"] is None:
            if self.unknown_power and self.unknown_power[-1][1] == float("inf"):
                pass
            else:
                self.unknown_power.append((now_s, float("inf")))
        elif self.unknown_power and self.unknown_power[-1][1] == float("inf"):
            self.unknown_power[-1] = (self.unknown_power[-1][0], now_s)
        on = {alert["code"] for alert in snapshot["alerts"]}
        self.alerts += [(now_s, code) for code in sorted(on - self._on)]
        self._on = on
        battery = snapshot["battery"]
        left = value(battery["left_fraction"]) if battery else None
        if left is not None and (not self.left or abs(left - self.left[-1][1]) >= 0.01):
            self.left.append((now_s, left))

    def silent_s(self, now_s: float) -> float:
        """Return the time since the last snapshot [s]."""
        return min(now_s, self.close_at_s) - self._before_s

    def send(self, within_s: float = 20.0, **command: Any) -> dict[str, Any] | None:
        """Send a command; return the answer; None without one."""
        with self._changed:
            number = self._next_id
            self._next_id += 1
        line = json.dumps({**command, "id": number}).encode() + b"\n"
        with contextlib.suppress(OSError):
            self._socket.sendall(line)
        with self._changed:
            self._changed.wait_for(lambda: number in self._acks, within_s)
            return self._acks.get(number)

    def wait_for(self, condition, within_s: float) -> bool:
        """Wait for a snapshot that meets a condition."""
        with self._changed:
            return self._changed.wait_for(
                lambda: self.last is not None and condition(self.last), within_s
            )

    def close(self) -> None:
        self._thread.join(2.0)
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(5.0)


def value(figure: Any) -> float | None:
    """Return a figure's value, with an interval or plain; None if unknown."""
    return figure["value"] if isinstance(figure, dict) else figure
