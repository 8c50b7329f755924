"""A rider with wet hands: presses, taps and sizes at random, in episodes that say what must hold.

Everything is judged by what stands on the terminal and by what reaches the feed.
"""

import random
import re
import time
from collections import Counter
from collections.abc import Callable

from tests.faults.rough_feed import RoughFeed
from tests.faults.rough_terminal import Terminal
from tests.patience import PATIENCE_S

Size = tuple[int, int]

LETTERS = "abcdefghijklmnoprstuvwxyz0123456789+-,. ?=/ABRKQ"
"""Keys of one letter; `q` leaves."""
NAMED = (
    *("\t", "\r", "\x1b[A", "\x1b[B", "\x1b[C", "\x1b[D", "\x1b[H", "\x1b[F", "\x1b[5~", "\x1b[6~"),
    *(
        "\x7f",
        "\x1b[3~",
        "\x1b[Z",
        "\x1bOP",
        "\x1b[15~",
        "\x1b[1;5C",
        "\x0c",
        "\x00",
        "\x01",
        "\x05",
    ),
)
ODD = (
    *("\x1b[O", "\x1b[I", "\x1b[200~rrq\rk\x1b[201~", "\x1b[<64;3;3M", "\x1b[<65;9;9M", "\x1bx"),
    *(
        "\x1b[<35;5;5M",
        "\x1b[<0;9999;9999M",
        "\x1b[<0;0;0M",
        "\x1b[?2026;2$y",
        "\x1b[99;99R",
        "é船👍",
    ),
    *("\x1b]11;rgb:00/00/00\x07", "\x1b[1;1:3u", "\x1b[97;1u", "\x1b[?1;2c", "\x1bPx\x1b\\"),
)
"""Focus lost and back, pasting, wheel, moves, places off the screen, a terminal's answers."""
BROKEN = (b"\x1b[<0;5", b"\x1b[", b"\xff\xfe", b"\xe8\x88", b"\x1b[<;;M", b"\x1b[200~")
"""Codes and letters that end in the middle; what follows completes them somehow."""
NOTE_ASKED, SETUP_ASKED, CHARGE_ASKED = "type it, then", "Name of the set-up", "much? Type it"
SIZES_MOST: Size = (250, 80)
SIZES_LEAST: Size = (10, 5)
EDGES = ((109, 34), (110, 34), (110, 33), (111, 35), (250, 34), (110, 80), (40, 22))
"""Sizes about the threshold of the wide screen."""
SETTLE_S = 0.5
"""Time in which a command that was given would have reached the feed [s]."""
SECOND_PRESS_S = 3.0
"""Time within which a second press confirms a run, and unlocks [s]: README of the dashboard."""
PLACE = re.compile(r"(paused|playing|at the end) [\d.]+x (\d+:\d\d(?::\d\d)?)")
CAUTIONS = ("Range is an estimate. Keep", "Range estimated: keep")


class RuleBrokenError(AssertionError):
    """Something that must hold did not."""


class Rider:
    """Handles a dashboard roughly.

    Parameters
    ----------
    terminal
        Where it runs.
    size
        The size that the terminal has between episodes.
    chance
        Where choices come from.
    feed
        The feed behind it; None if there is none to ask.
    """

    def __init__(
        self, terminal: Terminal, size: Size, chance: random.Random, feed: RoughFeed | None = None
    ) -> None:
        self.terminal, self.size, self.feed = terminal, size, feed
        self._chance = chance
        self.presses = self.resizes = 0
        self.taps = False
        """Whether taps have been given that may have hit a button to leave."""
        self.done: Counter[str] = Counter()

    def press(self, keys: str | bytes) -> None:
        """Press one key, or send one code."""
        self.presses += 1
        self.terminal.type(keys)

    def pause(self) -> None:
        """Let some time pass, mostly too little for a picture."""
        time.sleep(self._chance.choice((0, 0, 0.01, 0.03, 0.1)))

    def resize(self, size: Size | None = None) -> None:
        """Change to some size."""
        self.resizes += 1
        (least_x, least_y), (most_x, most_y) = SIZES_LEAST, SIZES_MOST
        at_random = (self._chance.randint(least_x, most_x), self._chance.randint(least_y, most_y))
        self.terminal.resize(*(size or at_random))

    def tap(self, columns: tuple[float, float] = (0.0, 1.0)) -> None:
        """Tap anywhere within a share of the columns."""
        self.presses += 1
        width, height = self.terminal.screen.size
        low, high = (int(share * (width - 1)) for share in columns)
        button = self._chance.choice((0, 0, 0, 0, 1, 2, 64))
        self.terminal.tap(self._chance.randint(low, high), self._chance.randrange(height), button)

    def spray(self, seconds_s: float, *, keys: str = LETTERS, odd: bool = True) -> None:
        """Press and tap anything that does not leave."""
        end_s = time.monotonic() + seconds_s
        while time.monotonic() < end_s:
            match self._chance.randrange(10):
                case 0 | 1 | 2 | 3:
                    self.press(self._chance.choice(keys))
                case 4:
                    self.press(self._chance.choice(NAMED))
                case 5 if odd:
                    self.press(self._chance.choice(ODD))
                case 6 if odd and self._chance.random() < 0.3:
                    self.press(self._chance.choice(BROKEN))
                case 7:
                    self.resize()
                case _:
                    self.taps = True
                    self.tap()
            self.pause()

    def steady(self) -> None:
        """Come back to the ride view, unlocked, with nothing open."""
        self.terminal.resize(*self.size)
        self.terminal.type("\x1b[201~\x1b[I")  # the end of a paste that was begun
        for _ in range(20):
            if not self.terminal.is_running:
                return
            self.terminal.type("\x1b")
            time.sleep(0.2)  # else it is the beginning of a code
            self.terminal.type("\t")  # leaves a view, with what was asked there
            time.sleep(0.1)
            self.terminal.type("k")  # locks, or is the first of two presses
            if not self.wait_until(is_locked, 2.0):
                continue
            self.terminal.type("ku")
            if self.wait_until(is_open, 2.0):
                self.terminal.type("\t")  # what was being typed before has its keys back
                time.sleep(0.1)
                self.terminal.type("1\x0c")
                return
        raise RuleBrokenError(
            "no way back to an open, unlocked dashboard:\n" + self.terminal.text()
        )

    def wait_for(self, text: str, within_s: float = PATIENCE_S) -> bool:
        """Wait for a text on the screen."""
        return self.terminal.wait_for(lambda seen: text in seen, within_s)

    def wait_until(self, holds: Callable[[str], bool], within_s: float) -> bool:
        """Wait until the screen fulfils a condition."""
        return self.terminal.wait_for(holds, within_s)

    def must_answer(self) -> None:
        """Fail unless the program draws its screen when asked to, and shows no traceback."""
        terminal = self.terminal
        before, drawn = terminal.written, self.size[0] * self.size[1] // 4
        terminal.type("\x0c")
        answers = terminal.wait_for(lambda _: terminal.written - before > drawn)
        self.must(answers, "it hangs, or has ended")
        self.must(b"Traceback" not in terminal.all, "a traceback was printed")

    def must(self, holds: object, what: str) -> None:
        """Fail with the screen unless something holds."""
        if not holds:
            self.terminal.lines()
            written = re.sub(rb"\x1b\[[0-?]*[@-~]", b"", self.terminal.all)
            trace = written[written.find(b"Traceback") :] if b"Traceback" in written else b""
            seen = self.terminal.text()
            raise RuleBrokenError(f"{what}:\n{seen}\n{trace.decode(errors='replace')}")

    def commands_during(self, act: Callable[[], None]) -> list[dict[str, object]]:
        """Return the commands that reach the feed because of something."""
        assert self.feed is not None
        before = len(self.feed.commands)
        act()
        self.must_answer()
        time.sleep(SETTLE_S)
        return self.feed.commands[before:]

    def locked(self) -> None:
        """Episode: while locked nothing gets through, and one end alone does not unlock."""
        self.press(self._chance.choice("1234567"))
        if self._chance.random() < 0.3:
            self.press("6n")
            self.wait_for(NOTE_ASKED, 2.0)
            self.press(self._chance.choice(("", "\x1b[O", "\x1b[O\x1b[I")))
            self.tap_word("lock")
            self.press("\x1b[I")
        else:
            self.press("k")
        self.must(self.wait_until(is_locked, 10.0), "it does not lock")
        end = self._chance.choice(("left", "right"))
        keys = LETTERS.replace("u" if end == "left" else "k", "")

        def wet() -> None:
            until_s = time.monotonic() + self._chance.uniform(1.0, 4.0)
            while time.monotonic() < until_s:
                match self._chance.randrange(6):
                    case 0 | 1:
                        self.press(self._chance.choice(keys + "q"))
                    case 2:
                        self.press(self._chance.choice((*NAMED, *ODD)))
                    case 3:
                        self.tap((0.0, 0.6) if end == "left" else (0.4, 1.0))
                    case 4:
                        self.press("k" if end == "left" else "u")
                    case _ if self._chance.random() < 0.2:
                        self.resize()
                self.pause()
            self.terminal.resize(*self.size)

        self.must(not self.commands_during(wet), "a command went out while locked")
        self.must(self.wait_until(is_locked, 5.0), f"spray on the {end} unlocked")
        time.sleep(SECOND_PRESS_S)
        self.terminal.type("k")
        time.sleep(0.1)
        self.terminal.type("u")
        self.must(self.wait_until(is_open, 10.0), "two ends do not unlock")
        self.terminal.type("\x1b")

    def tap_word(self, word: str) -> None:
        """Tap a word where it stands lowest on the screen."""
        lines = self.terminal.lines()
        for y in range(len(lines) - 1, -1, -1):
            if (x := lines[y].rfind(word)) >= 0:
                self.presses += 1
                self.terminal.tap(x, y)
                return

    def typing(self) -> None:
        """Episode: in a text field every letter is text, and nothing else is done."""
        key, asked, begin = self._chance.choice(
            (("n", NOTE_ASKED, ""), ("s", SETUP_ASKED, "R"), ("m", CHARGE_ASKED, "7"))
        )
        self.press("6")
        time.sleep(1.0)  # what stands there may still be from before, and keys overtake a new view
        self.must(self.wait_for("set-up", 10.0), "no runs view")
        self.press(key)
        time.sleep(1.0)  # until the question has the keys
        self.press(begin)
        self.must(self.wait_for(asked, 10.0), "it does not ask")
        typed = [begin]

        def letters() -> None:
            for _ in range(self._chance.randint(1, 24)):
                letter = self._chance.choice(LETTERS + "rrrrqkk船é")
                typed.append(letter)
                self.press(letter)
                if self._chance.random() < 0.15:
                    self.press(self._chance.choice(("\x1b[O", "\x1b[I", "\x1b[<35;5;5M", "\x0c")))
                if self._chance.random() < 0.1:
                    self.resize()
                self.pause()
            self.terminal.resize(*self.size)

        sent = self.commands_during(letters)
        self.must(not sent, f"typing sent {sent}")
        self.must(self.wait_for(asked, 5.0), "what was typed closed the field")
        self.press("\x1b[I")
        sent = self.commands_during(lambda: self.press("\r"))
        text = " ".join("".join(typed).split())
        if key == "n":
            words = [" ".join(str(one.get("text")).split()) for one in sent]
            self.must(words == [text], f"typed {text!r}, sent {sent}")
        self.must(all(one.get("mark") not in ("run_start", "run_end") for one in sent), f"{sent}")
        self.press("\x1b")

    def one_press(self) -> None:
        """Episode: one press of `r`, and the bounces of one, start and end no run."""
        time.sleep(SECOND_PRESS_S)  # else this press is the second of two
        self.press(self._chance.choice("123456"))
        bounces = self._chance.choice((1, 1, 2, 3))

        def once() -> None:
            self.press("r" * bounces)
            until_s = time.monotonic() + 3.4
            while time.monotonic() < until_s:
                self.press(self._chance.choice("12345ut9h"))
                time.sleep(0.15)

        sent = self.commands_during(once)
        runs = [one for one in sent if one.get("mark") in ("run_start", "run_end")]
        self.must(not runs, f"{bounces} r at once: {sent}")

    def edges(self) -> None:
        """Episode: the threshold of the wide screen is crossed again and again."""
        for _ in range(self._chance.randint(4, 20)):
            self.resize(self._chance.choice(EDGES))
            if self._chance.random() < 0.5:
                self.press(self._chance.choice("123456789 zov"))
            self.pause()

    def paused(self) -> None:
        """Episode: a replay that is paused stays at its place whatever is pressed but a seek."""
        if "playing" in self.terminal.text():
            self.press(" ")
        if not self.terminal.wait_for(PLACE.search, 10.0) or "paused" not in self.terminal.text():
            return
        time.sleep(1.5)
        if not self.terminal.wait_for(PLACE.search, 10.0):
            return  # not shown at this size, or hidden by what is asked
        before = self.place()
        for _ in range(self._chance.randint(5, 30)):
            self.press(self._chance.choice("1234789uathv+-?\t\x0c\x7f"))
            if self._chance.random() < 0.2:
                self.resize()
            self.pause()
        self.steady()
        self.must_answer()
        self.must(self.wait_for("paused", 10.0), "it no longer stands still")
        self.must(self.place() == before, f"paused at {before}, now at {self.place()}")
        self.press(" ")

    def place(self) -> str:
        """Return a replay's place as shown; empty if it is not."""
        found = PLACE.search(self.terminal.text())
        return found[2] if found else ""

    def read_caution(self) -> None:
        """Take the caution away, which stands when the program begins, and for a new trip."""
        self.press("\r")
        gone = self.terminal.wait_for(lambda text: not cautions(text), 10.0)
        self.must(gone, "the caution stays")

    def caution_is_gone(self) -> None:
        """Fail if the caution stands above the ride view."""
        gone = self.terminal.wait_for(lambda text: not cautions(text), 10.0)
        self.must(gone, "the caution came back")


def foot(text: str) -> str:
    """Return the rows in which tabs or lock stand."""
    return "\n".join(text.split("\n")[-6:])


def is_locked(text: str) -> bool:
    """Return whether a screen says that it is locked."""
    return "locked" in foot(text)


def is_open(text: str) -> bool:
    """Return whether a screen has its tabs, the last of which locks."""
    return "lock" in foot(text) and not is_locked(text)


def cautions(text: str) -> bool:
    """Return whether the caution stands on a screen."""
    return any(one in text for one in CAUTIONS)
