"""A page of text: blocks of items, each a name and a text."""

from onboard.dataclass import dataclass


@dataclass(frozen=True)
class Item:
    """A name and a text.

    Parameters
    ----------
    name
        Its subject, in a few letters; empty if the text speaks for itself.
    text
        Wrapped, never truncated.
    strong
        Whether it is emphasized.
    """

    name: str
    text: str
    strong: bool = False


Block = tuple[Item, ...]
"""Items shown together where possible, with their texts in one column."""
