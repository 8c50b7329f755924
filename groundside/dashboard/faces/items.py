"""What a page of text says: blocks of items, each a name and what there is to say of it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Item:
    """A name and a text.

    Parameters
    ----------
    name
        What it is about, in a few letters; empty where the text speaks for itself.
    text
        What there is to say; it is wrapped, never cut.
    strong
        Whether it must be seen before the others.
    """

    name: str
    text: str
    strong: bool = False


Block = tuple[Item, ...]
"""Items that stay together where they can; their texts begin in one column."""
