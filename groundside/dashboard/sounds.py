"""What the rider wants to hear: a choice kept between runs of the viewer."""

from typing import Literal

Sounds = Literal["off", "danger", "all"]
CHOICES: tuple[Sounds, ...] = ("off", "danger", "all")
USUAL: Sounds = "danger"
MEANINGS: dict[Sounds, str] = {
    "off": "no sounds",
    "danger": "sounds for danger",
    "all": "sounds for danger and cues",
}


def sounds_named(name: str | None) -> Sounds:
    """Return the stored choice, or the usual one if there is none."""
    return next((choice for choice in CHOICES if choice == name), USUAL)


def next_sounds(choice: Sounds) -> Sounds:
    """Return the next choice; the first follows the last.

    Examples
    --------
    >>> next_sounds("danger"), next_sounds("all")
    ('all', 'off')
    """
    return CHOICES[(CHOICES.index(choice) + 1) % len(CHOICES)]
