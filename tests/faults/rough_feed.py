"""A feed that is no daemon: it sends what it is told to, and keeps what viewers send.

TCP on loopback, one JSON object on each line, as the contract's README describes it.
"""

import contextlib
import json
import random
import socket
import threading
import time
from collections.abc import Callable
from typing import Any

from tests.faults.rough_snapshots import sane_snapshot, wild_line, wild_snapshot
from tests.patience import PATIENCE_S

EVERY_S = 0.2
JUNK = (
    b"\n",
    b"{}\n",
    b"[1]\n",
    b"null\n",
    b"\xff\xfe\n",
    b'{"kind": "later"}\n',
    b"{" * 9000 + b"\n",
)


class RoughFeed:
    """A feed on a free port, in threads of its own.

    Parameters
    ----------
    chance
        Where its choices come from.
    """

    def __init__(self, chance: random.Random) -> None:
        self._chance = random.Random(chance.random())
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self.wild = False
        self.stalls = False
        self.answers: bool | None = True
        """Whether commands are carried out, refused, or left without an answer (None)."""
        self.commands: list[dict[str, Any]] = []
        self.faulty: list[bytes] = []
        """Lines from viewers that are no command."""
        self.sent = 0
        self._run: int | None = None
        self._viewer: socket.socket | None = None
        self._begun_s = time.monotonic() - 600.0
        self._over = False
        self._threads: list[threading.Thread] = []
        self._begin(self._serve)

    def _begin(self, act: Callable[..., None], *of: socket.socket) -> None:
        thread = threading.Thread(target=act, args=of, daemon=True)
        self._threads.append(thread)
        thread.start()

    def drop(self) -> None:
        """Break off the connection."""
        if self._viewer is not None:
            with contextlib.suppress(OSError):
                self._viewer.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """End."""
        self._over = True
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._threads[0].join(PATIENCE_S)
        self._listener.close()
        self.drop()
        for thread in self._threads:
            thread.join(PATIENCE_S)

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while not self._over:
                viewer, _ = self._listener.accept()
                self._viewer = viewer
                self._begin(self._hear, viewer)
                self._begin(self._tell, viewer)

    def _tell(self, viewer: socket.socket) -> None:
        """Send lines until the connection is broken."""
        with contextlib.suppress(OSError):
            hello = {"schema": 2, "kind": "hello", "craft": "skiff", "rate_hz": 5.0}
            viewer.sendall(json.dumps(hello).encode() + b"\n")
            while not self._over:
                if not self.stalls:
                    viewer.sendall(b"".join(self._lines()))
                time.sleep(EVERY_S)

    def _lines(self) -> list[bytes]:
        t_s, chance = time.monotonic() - self._begun_s, self._chance
        self.sent += 1
        if not self.wild:
            return [as_line(sane_snapshot(self.sent, t_s, self._run))]
        lines = [as_line(wild_snapshot(chance, self.sent, t_s))]
        if chance.random() < 0.3:
            lines.insert(0, as_line(wild_line(chance, t_s)))
        if chance.random() < 0.1:
            lines.insert(0, chance.choice(JUNK))
        return lines

    def _hear(self, viewer: socket.socket) -> None:
        """Keep what comes, and answer it."""
        with contextlib.suppress(OSError), viewer, viewer.makefile("rb") as lines:
            for line in lines:
                try:
                    command = json.loads(line)
                    number = int(command["id"])
                except (ValueError, KeyError, TypeError):
                    self.faulty.append(line)
                    continue
                self.commands.append(command)
                if self.answers and command.get("mark") in ("run_start", "run_end"):
                    self._run = number if command["mark"] == "run_start" else None
                if self.answers is not None:
                    ack = {"schema": 2, "kind": "ack", "id": number, "by": True}
                    why = None if self.answers else {"code": "too_many_wait"}
                    more = {"ok": self.answers, "why": why, "command": None}
                    viewer.sendall(as_line(ack | more))


def as_line(message: dict[str, Any]) -> bytes:
    """Return a message as a line."""
    return json.dumps(message, allow_nan=False).encode() + b"\n"
