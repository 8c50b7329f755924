"""One setting of the craft profile: a dataclass field that carries its meaning and its limits.

Limits are metadata of the field: `least`, `above`, `most`, `below` bound a number; `choices`,
`most_characters` and `hex_digits` restrict a text; `required` refuses a table without the key.
"""

import dataclasses
import math
import string
from typing import Any, get_args, get_origin

from onboard.errors import ProfileError

MOST_SHOWN = 60
"""Longest part of a key or a value that an error message repeats [characters]."""

BOUNDS = {"least": "at least", "above": "above", "most": "at most", "below": "below"}
KINDS = {bool: "true or false", int: "a whole number", float: "a number", str: "text"}


def setting(default: Any, meaning: str, **limits: Any) -> Any:
    """Return a dataclass field for a setting.

    Parameters
    ----------
    default
        Value where the profile states none.
    meaning
        Its meaning, with its unit in brackets.
    **limits
        As in the docstring of this module.
    """
    return dataclasses.field(default=default, metadata={"meaning": meaning, **limits})


def value_type(field: dataclasses.Field[Any]) -> type:
    """Return the type of a field, without its `None`."""
    kinds = get_args(field.type) if get_origin(field.type) else (field.type,)
    kind = next(kind for kind in kinds if kind is not type(None))
    assert isinstance(kind, type)
    return kind


def checked(section: str, field: dataclasses.Field[Any], value: Any) -> Any:
    """Return a value if its setting allows it; an integer becomes a float where one is expected.

    Raises
    ------
    ProfileError
        If the value is of another type or beyond the limits.
    """
    kind, limits = value_type(field), field.metadata
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        try:
            value = float(value)
        except OverflowError:
            value = math.inf
    fits = (
        type(value) is kind
        and ("least" not in limits or value >= limits["least"])
        and ("above" not in limits or value > limits["above"])
        and ("most" not in limits or value <= limits["most"])
        and ("below" not in limits or value < limits["below"])
        and ("most_characters" not in limits or _is_name(value, limits["most_characters"]))
        and ("choices" not in limits or value in limits["choices"])
        and ("hex_digits" not in limits or _is_key(value, limits["hex_digits"]))
    )
    if not fits:
        # A key is never echoed: it may be nearly right.
        given = "" if "hex_digits" in limits else f" = {as_given(value)}"
        raise ProfileError(f"{section}.{field.name}{given}: expected {allowed(field)}")
    return value


def allowed(field: dataclasses.Field[Any]) -> str:
    """Describe what a setting allows, for an error message."""
    limits, kind = field.metadata, KINDS[value_type(field)]
    if "choices" in limits:
        return " or ".join(f'"{choice}"' for choice in limits["choices"])
    if "hex_digits" in limits:
        return f"{limits['hex_digits']} hexadecimal digits"
    if "most_characters" in limits:
        return f"up to {limits['most_characters']} printable characters"
    if "least" in limits and "most" in limits:
        return f"{kind} from {limits['least']:g} to {limits['most']:g}"
    bounds = [f"{words} {limits[key]:g}" for key, words in BOUNDS.items() if key in limits]
    return " ".join([kind, " and ".join(bounds)]).strip()


def as_given(value: Any) -> str:
    """Return any value as an error message repeats it: on one line, shortened."""
    try:
        return shortened(repr(value))
    except (ValueError, RecursionError):
        return "too long to show"


def shortened(text: str, most: int = MOST_SHOWN) -> str:
    """Return a text shortened to at most `most` characters."""
    return text if len(text) <= most else text[: most - 3] + "..."


def _is_name(value: Any, most: int) -> bool:
    return isinstance(value, str) and len(value) <= most and value.isprintable()


def _is_key(value: Any, digits: int) -> bool:
    return (
        isinstance(value, str)
        and len(value) == digits
        and all(letter in string.hexdigits for letter in value)
    )
