"""Set-up labels to choose from with one key: those known, a new letter, any other."""

import string
from typing import Any

from groundside.figures import text_of
from groundside.source import Snapshot
from onboard.contract.commands import LABEL_MOST

PLAIN = "as is"
"""What the daemon calls a craft whose set-up was not named."""


def setup_in_force(snapshot: Snapshot | None) -> str:
    """Give the label in force, empty where none was given.

    Examples
    --------
    >>> setup_in_force({"setup": "B"}), setup_in_force({"setup": "as is"})
    ('B', '')
    """
    label = text_of(snapshot.get("setup")) if snapshot is not None else ""
    return "" if label == PLAIN else label


def known_setups(snapshot: Snapshot | None) -> tuple[str, ...]:
    """Give the labels that the daemon knows, and those of the runs, each once, in order."""
    if snapshot is None:
        return ()
    found = [text_of(label) for label in listed(snapshot.get("setups"))]
    found += [text_of(run.get("setup")) for run in listed(snapshot.get("runs")) if is_part(run)]
    found.append(setup_in_force(snapshot))
    return tuple(sorted({label for label in found if label and label != PLAIN}))


def next_letter(known: tuple[str, ...]) -> str:
    """Give the first letter that is no label yet, empty where all are.

    Examples
    --------
    >>> next_letter(("A", "c")), next_letter(())
    ('B', 'A')
    """
    taken = {label.upper() for label in known}
    return next((letter for letter in string.ascii_uppercase if letter not in taken), "")


def sayable(text: str) -> str:
    """Give what was typed as a label that the daemon takes; empty is none.

    Examples
    --------
    >>> sayable("  three  blades ")
    'three blades'
    """
    return text_of(text)[:LABEL_MOST].strip()


def listed(raw: Any) -> list[Any]:
    """Give a list, empty for all that is none."""
    return raw if isinstance(raw, list) else []


def is_part(raw: Any) -> bool:
    """Tell whether something is an object."""
    return isinstance(raw, dict)
