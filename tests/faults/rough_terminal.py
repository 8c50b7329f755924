"""A program in a terminal of its own: what it writes, what then stands there, keys and taps.

The screen is worked out here from the escape codes (ECMA-48), not by the toolkit that wrote them.
"""

import contextlib
import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import threading
import time
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from tests.patience import PATIENCE_S

OWN_TERMINAL = (
    "import fcntl, os, sys, termios; os.setsid(); fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "os.execv(sys.argv[1], sys.argv[1:])"
)
"""Program text that makes standard input the controlling terminal and becomes another program."""

CODE = re.compile(
    rb"\x1b\[([0-?]*)[ -/]*([@-~])|\x1b[\]PX^_].*?(?:\x07|\x1b\\)"
    rb"|\x1b[ -/]*[0-Z\\^-~]|[\x00-\x1a\x1c-\x1f]",
    re.DOTALL,
)
UNFINISHED = re.compile(rb"\x1b(?:\[[0-?]*[ -/]*|[\]PX^_][^\x07\x1b]*|[ -/]*)?$")

MODES_OFF = (1000, 1002, 1003, 1006, 1004, 1049, 2004)
"""Private modes that must be off afterwards: mouse, focus, the other screen, pasting."""
MODES_ON = (25,)
"""The cursor is visible again."""


class Screen:
    """What stands on a terminal after some output."""

    def __init__(self, width: int, height: int) -> None:
        self.modes: dict[int, bool] = {}
        self._rows: dict[int, dict[int, str]] = {}
        self._rest = b""
        self._x = self._y = 0
        self.size = (width, height)

    def write(self, data: bytes) -> None:
        """Take output."""
        data, self._rest = self._rest + data, b""
        at = 0
        for code in CODE.finditer(data):
            self._print(data[at : code.start()])
            at = code.end()
            self._obey(code)
        rest = data[at:]
        unfinished = UNFINISHED.search(rest)
        cut = unfinished.start() if unfinished else len(rest)
        while cut and rest[cut - 1] & 0xC0 == 0x80 and cut > len(rest) - 4:
            cut -= 1  # perhaps the middle of a letter
        if cut and cut > len(rest) - 4 and rest[cut - 1] >= 0xC0:
            cut -= 1
        self._print(rest[:cut])
        self._rest = rest[cut:]

    def _print(self, data: bytes) -> None:
        for letter in data.decode(errors="replace"):
            if unicodedata.combining(letter):
                continue
            self._rows.setdefault(self._y, {})[self._x] = letter
            wide = unicodedata.east_asian_width(letter) in "WF"
            if wide:
                self._rows[self._y].pop(self._x + 1, None)
            self._x += 2 if wide else 1

    def _obey(self, code: re.Match[bytes]) -> None:
        if code[2] is None:
            if code[0] == b"\r":
                self._x = 0
            elif code[0] == b"\n":
                self._y += 1
            return
        raw, kind = code[1], code[2].decode()
        if raw.startswith(b"?") and kind in "hl":
            self.modes |= {int(n): kind == "h" for n in raw[1:].split(b";") if n.isdigit()}
            return
        numbers = [int(n) if n.isdigit() else 0 for n in raw.split(b";")]
        first = max(numbers[0], 1)
        if kind in "Hf":
            self._y, self._x = first - 1, max(numbers[1], 1) - 1 if len(numbers) > 1 else 0
        elif kind in "ABCD":
            self._x += {"C": first, "D": -first}.get(kind, 0)
            self._y += {"B": first, "A": -first}.get(kind, 0)
        elif kind == "J" and numbers[0] == 2:
            self._rows = {}
        elif kind == "K" and numbers[0] == 0:
            row = self._rows.get(self._y, {})
            self._rows[self._y] = {x: letter for x, letter in row.items() if x < self._x}

    def lines(self) -> list[str]:
        """Return its lines."""
        width, height = self.size
        rows = (self._rows.get(y, {}) for y in range(height))
        return ["".join(row.get(x, " ") for x in range(width)) for row in rows]


class Terminal:
    """A program in a terminal.

    Parameters
    ----------
    command
        Its command line.
    size
        Columns and rows.
    environment
        Variables beside this process's own.
    """

    def __init__(
        self, command: Sequence[str], size: tuple[int, int], environment: Mapping[str, str]
    ) -> None:
        self._master, self._slave = pty.openpty()
        self._before = termios.tcgetattr(self._slave)
        self.screen = Screen(*size)
        self.resize(*size)
        self._came = bytearray()
        self._changed = threading.Condition()
        self.written = 0
        """Bytes that it wrote so far."""
        self.all = b""
        """The last of them."""
        self.process = subprocess.Popen(
            [sys.executable, "-I", "-S", "-c", OWN_TERMINAL, *command],
            stdin=self._slave,
            stdout=self._slave,
            stderr=self._slave,
            env=os.environ | {"TERM": "xterm-256color", "COLUMNS": "", "LINES": ""} | environment,
        )
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        with contextlib.suppress(OSError):
            while data := os.read(self._master, 65_536):
                with self._changed:
                    self._came += data
                    self.written += len(data)
                    self._changed.notify_all()

    def resize(self, width: int, height: int) -> None:
        """Change its size; the program gets a SIGWINCH from the kernel."""
        self.screen.size = (width, height)
        fcntl.ioctl(self._master, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))

    def type(self, keys: str | bytes) -> None:
        """Send keys; give up if the program does not read them for a long time."""
        data = keys.encode() if isinstance(keys, str) else keys
        with contextlib.suppress(OSError):
            os.write(self._master, data)

    def tap(self, x: int, y: int, button: int = 0) -> None:
        """Press and release a button of the mouse at a column and row, from 0 (SGR, mode 1006)."""
        self.type(f"\x1b[<{button};{x + 1};{y + 1}M\x1b[<{button};{x + 1};{y + 1}m")

    def lines(self) -> list[str]:
        """Return what stands on it now."""
        with self._changed:
            data, self._came = bytes(self._came), bytearray()
        self.all = (self.all + data)[-200_000:]
        self.screen.write(data)
        return self.screen.lines()

    def text(self) -> str:
        """Return what stands on it now, as one text."""
        return "\n".join(self.lines())

    def wait_for(self, found: Callable[[str], object], within_s: float = PATIENCE_S) -> bool:
        """Wait until what stands there fulfils a condition, or the program has ended."""
        end_s = time.monotonic() + within_s
        while not found(self.text()):
            if time.monotonic() > end_s or not self.is_running:
                return False
            with self._changed:
                if not self._came:
                    self._changed.wait(0.1)
        return True

    @property
    def is_running(self) -> bool:
        """Whether the program has not ended."""
        return self.process.poll() is None

    def memory_kb(self) -> int:
        """Return the resident memory of the program [kB]."""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        found = re.search(r"VmRSS:\s+(\d+)", status)
        return int(found[1]) if found else 0

    def not_restored(self) -> list[str]:
        """Return what the program left changed in the terminal, after its end."""
        self._settle()
        left = [f"mode {n} on" for n in MODES_OFF if self.screen.modes.get(n, False)]
        left += [f"mode {n} off" for n in MODES_ON if not self.screen.modes.get(n, True)]
        if termios.tcgetattr(self._slave) != self._before:
            left.append("line settings changed")
        return left

    def _settle(self) -> None:
        """Take what is still on its way."""
        before = -1
        while before != self.written:
            before = self.written
            time.sleep(0.1)
        self.lines()

    def close(self) -> None:
        """End the program, if need be by force, and close the terminal."""
        if self.is_running:
            self.process.kill()
        self.process.wait()
        os.close(self._slave)
        self._thread.join(5.0)
        os.close(self._master)
