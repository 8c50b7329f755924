"""What stands in place of the tabs while the dashboard is locked: two buttons far apart."""

from typing import ClassVar

from textual import events
from textual.geometry import Size

from groundside.dashboard.drawing.painted import Line, Painted, wrapped
from groundside.dashboard.lock import ENDS, End, LockState
from groundside.dashboard.widgets.button_bar import ButtonBar

KEYS: dict[str, End] = {"k": "left", "u": "right"}
"""The keys that unlock, each with its button."""
WORDS: dict[End, str] = {"left": "unlock: press this", "right": "then this"}
MOST_CELLS = 24


def unlock_action(end: End | None) -> str:
    """Return the app's action for a press on one of the two buttons, or anywhere else."""
    return f"unlock('{end or ''}')"


class LockBar(Painted):
    """Shows that the dashboard is locked, and the two buttons that unlock it."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"lock--button", "lock--on", "lock--key", "lock--text"}

    @staticmethod
    def button_width(width: int) -> int:
        """Return the columns of each button, which leave at least as many between them."""
        return max(1, min(MOST_CELLS, width // 3))

    def paint(self, size: Size) -> list[Line]:
        """Draw the buttons at the ends and the word between them."""
        state: LockState = self.content
        across = self.button_width(size.width)
        between = size.width - 2 * across
        words = {end: WORDS[end] for end in ENDS}
        if state.pressed:
            words[state.pressed] = "pressed"
            words[ENDS[1 - ENDS.index(state.pressed)]] = "now this"
        columns = {end: _column(end, words[end], across, size.height) for end in ENDS}
        lines: list[Line] = []
        for y in range(size.height):
            word = "locked" if y == (size.height - 1) // 2 else ""
            line: Line = []
            for end in ENDS:
                key, text = columns[end][y]
                style = "lock--on" if state.pressed == end else "lock--button"
                line += [(key, "lock--key"), (text, style)] if key else [(text, style)]
                if end == ENDS[0]:
                    line.append((word.center(between), "lock--text"))
            lines.append(line)
        return lines

    def on_click(self, event: events.Click) -> None:
        """Press the tapped button; a tap between them counts as a stray press."""
        event.stop()
        across = self.button_width(self.size.width)
        left, right = event.x < across, event.x >= self.size.width - across
        end: End | None = "left" if left else "right" if right else None
        self.post_message(ButtonBar.Pressed(unlock_action(end)))


def _column(end: End, words: str, width: int, height: int) -> list[tuple[str, str]]:
    """Return the lines of a button: the key, then the words, which wrap if there is room."""
    key = next(key for key, of in KEYS.items() if of == end)
    texts = wrapped(f"{key} {words}", width)[:height] if height > 1 else [f"{key} {words}"[:width]]
    texts[0] = texts[0].removeprefix(key)
    top = (height - len(texts)) // 2
    lines = [("", " " * width)] * height
    for number, text in enumerate(texts):
        sign = "" if number else key
        lines[top + number] = (sign, text.ljust(width - len(sign)))
    return lines
