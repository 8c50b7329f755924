"""A page of text: blocks of items, each a name and a text."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Item:
    """A name and a text.

    Parameters
    ----------
    name
        What it is about, in a few letters; empty if the text speaks for itself.
    text
        Wrapped, never cut.
    strong
        Whether it stands out.
    """

    name: str
    text: str
    strong: bool = False


Block = tuple[Item, ...]
"""Items kept together where possible; their texts line up in one column."""
