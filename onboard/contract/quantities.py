"""What a name says of its value: the unit that it ends in, or that it is a name or a count.

It is how the glossary is written, how values of statements are checked, and how a viewer knows in
which of the reader's units to write one.
"""

from typing import Final, Literal

Kind = Literal["quantity", "count", "text", "texts"]

UNITS: Final[dict[str, str]] = {
    "wh_per_km": "Wh/km",
    "per_s": "1/s",
    "m2ps2": "m²/s²",
    "mps": "m/s",
    "fraction": "share, 0 to 1",
    "degc": "°C",
    "deg": "deg",
    "ohm": "Ω",
    "rpm": "1/min",
    "wh": "Wh",
    "ah": "Ah",
    "hz": "Hz",
    "us": "µs",
    "s": "s",
    "m": "m",
    "w": "W",
    "v": "V",
    "a": "A",
}
"""What names end in, behind an underscore or all of it, the longest first."""

COUNTS: Final = frozenset(
    name
    for names in (
        ("bytes", "errno", "faults", "most", "motor", "repeated", "unsigned", "wrong"),
        ("double_runs", "runs", "run", "charges"),
        ("system",),
    )
    for name in names
)
"""Names of whole numbers."""

TEXTS: Final = frozenset(("sources", "parts", "setups", "files"))
"""Names of several texts."""


def unit_of(name: str) -> str | None:
    """Give the unit that a name ends in, None where it ends in none.

    Examples
    --------
    >>> unit_of("left_wh"), unit_of("best_speed_mps"), unit_of("last_20_s"), unit_of("source")
    ('Wh', 'm/s', 's', None)
    >>> unit_of("wh_per_km"), unit_of("harm")
    ('Wh/km', None)
    """
    for ending, unit in UNITS.items():
        if name == ending or name.endswith("_" + ending):
            return unit
    return None


def kind_of(name: str) -> Kind:
    """Tell what a statement's value of this name is.

    Examples
    --------
    >>> [kind_of(name) for name in ("age_s", "faults", "sources", "path")]
    ['quantity', 'count', 'texts', 'text']
    """
    if name in COUNTS:
        return "count"
    if name in TEXTS:
        return "texts"
    return "text" if unit_of(name) is None else "quantity"
