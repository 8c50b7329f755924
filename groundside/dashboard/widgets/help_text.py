"""The text of the help view: every key, the signs, and the cautions."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.notices import CAUTION
from groundside.dashboard.widgets.painted import Line, Painted, wrapped

SIGNS = (
    ("--", "not known, reason beside"),
    ("STALE", "hatched: old figures"),
    ("a to b", "95 % interval"),
)
CAUTIONS = (
    CAUTION,
    "This tool advises only; it never steers.",
    "Cold water, spinning propellers and damaged packs harm.",
)


class HelpText(Painted):
    """Lists keys with what they do."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"help--key", "help--text", "help--quiet"}

    def paint(self, size: Size) -> list[Line]:
        """Write keys, signs and cautions; blank rows only where there is room for them."""
        width = size.width
        keys: tuple[tuple[str, str], ...] = self.shown
        blocks = [
            _listed(keys, width),
            _listed(SIGNS, width),
            [
                [(f" {line}", "help--quiet")]
                for text in CAUTIONS
                for line in wrapped(text, width - 2)
            ],
        ]
        spare = size.height - sum(len(block) for block in blocks)
        lines: list[Line] = []
        for block in blocks:
            if lines and spare > 0:
                lines.append([])
                spare -= 1
            lines += block
        return lines


def _listed(rows: tuple[tuple[str, str], ...], width: int) -> list[Line]:
    """Write names in a column and their meanings beside them, wrapped."""
    column = max(len(name) for name, _ in rows) + 3
    lines: list[Line] = []
    for name, meaning in rows:
        for y, text in enumerate(wrapped(meaning, max(8, width - column - 1))):
            lines.append(
                [(f" {name if y == 0 else ''}".ljust(column), "help--key"), (text, "help--text")]
            )
    return lines
