"""What a name reveals of its value: the unit that it ends in, or that it is a text or a count.

The glossary is written from this, the values of statements are checked by it, and viewers choose
the reader's unit by it.
"""

from typing import Final, Literal

Kind = Literal["quantity", "quantities", "count", "counts", "text", "texts"]

UNITS: Final[dict[str, str]] = {
    "wh_per_km": "Wh/km",
    "per_s": "1/s",
    "m2ps2": "m²/s²",
    "mps": "m/s",
    "fraction": "share",
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
"""Units by what a name ends in, after an underscore or as a whole; the longest first."""

COUNTS: Final = frozenset(
    name
    for names in (
        ("bytes", "cell", "errno", "faults", "most", "motor", "repeated", "unsigned", "wrong"),
        ("double_runs", "runs", "run", "rests", "charges", "full_charges", "used_charges"),
        ("system",),
    )
    for name in names
)
"""Names of whole numbers."""

TEXTS: Final = frozenset(("sources", "parts", "setups", "others", "reasons", "files", "ways"))
"""Names of several texts."""

SEVERAL_COUNTS: Final = frozenset(("run_numbers", "packs", "other_systems", "receivers"))
"""Names of several whole numbers."""

SEVERAL: Final = frozenset(("powers_w", "laps_m"))
"""Names of several quantities."""

RATIOS: Final = frozenset(("times", "current_scale"))
"""Names of plain numbers without a unit."""


def unit_of(name: str) -> str | None:
    """Return the unit that a name ends in, None if it ends in none.

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
    """Return the kind of value that a statement has under a name.

    Examples
    --------
    >>> [kind_of(name) for name in ("age_s", "faults", "sources", "path")]
    ['quantity', 'count', 'texts', 'text']
    >>> [kind_of(name) for name in ("powers_w", "run_numbers", "times")]
    ['quantities', 'counts', 'quantity']
    """
    for kind, names in _NAMED:
        if name in names:
            return kind
    return "text" if unit_of(name) is None else "quantity"


_NAMED: Final[tuple[tuple[Kind, frozenset[str]], ...]] = (
    ("count", COUNTS),
    ("counts", SEVERAL_COUNTS),
    ("texts", TEXTS),
    ("quantities", SEVERAL),
    ("quantity", RATIOS),
)
