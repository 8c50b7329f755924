"""Set-up labels: the known ones, the next free letter, and validation of typed ones."""

import string
from collections.abc import Iterable

from onboard.contract.codec import clean
from onboard.contract.commands import LABEL_MOST
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot

PLAIN = "as is"
"""The daemon's label for an unnamed set-up."""


def setup_in_force(snapshot: Snapshot) -> str:
    """Return the label in force; empty if none was given.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from onboard.contract.figure import Unknown
    >>> from onboard.contract.reasons import Reason
    >>> from onboard.contract.snapshot import unknown_snapshot
    >>> nothing = unknown_snapshot(Unknown(Reason.NO_DATA), "a test")
    >>> [setup_in_force(replace(nothing, setup=label)) for label in ("B", "as is")]
    ['B', '']
    """
    return "" if snapshot.setup == PLAIN else snapshot.setup


def known_setups(snapshot: Snapshot) -> tuple[str, ...]:
    """Return the labels known to the daemon, of the runs and of the trial, sorted, each once."""
    coach = snapshot.coach
    trial = () if isinstance(coach, Unknown) else coach.setups
    found = {*snapshot.setups, *(run.setup for run in snapshot.runs), snapshot.setup, *trial}
    return tuple(sorted(found - {"", PLAIN}))


def next_letter(known: tuple[str, ...]) -> str:
    """Return the first letter that is not a label yet; empty if all are.

    Examples
    --------
    >>> next_letter(("A", "c")), next_letter(())
    ('B', 'A')
    """
    taken = {label.upper() for label in known}
    return next((letter for letter in string.ascii_uppercase if letter not in taken), "")


def valid_label(text: str) -> str:
    """Return typed text as a label that the daemon accepts; empty if nothing is left.

    Examples
    --------
    >>> valid_label("  three  blades ")
    'three blades'
    """
    return clean(text)[:LABEL_MOST].strip()


def as_known(label: str, known: Iterable[str]) -> str:
    """Return a label in its known spelling: capitals do not make another set-up.

    Examples
    --------
    >>> as_known("Slim", ("broad", "slim")), as_known("B", ("slim",))
    ('slim', 'B')
    """
    return next((one for one in known if one.casefold() == label.casefold()), label)
