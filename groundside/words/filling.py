"""Fills the gaps of a sentence: a gap has the name of a value, which ends in its unit.

The sentences are rows of `onboard/contract`, beside their codes: a new statement is one row there.
One that needs more than gaps (a choice of forms, an article, parallel lists) has a function in the
table of its family, in this folder.
"""

import os
import string
from collections.abc import Callable, Mapping
from types import MappingProxyType

from groundside.words.figures import (
    UNKNOWN,
    age_text,
    cost_text,
    one_decimal,
    percent,
    speed_text,
    three_figures,
    whole,
)
from groundside.words.units import Units
from onboard.contract.codes import Code, Statement, Value
from onboard.contract.quantities import RATIOS, unit_of

Values = Mapping[str, Value]
Wording = Callable[[Values, Units], str]
"""Writes a statement's sentence if gaps do not suffice."""


def statement_text(
    statement: Statement[Code],
    units: Units,
    wordings: Mapping[Code, Wording] = MappingProxyType({}),
) -> str:
    """Return the sentence of a statement with its values.

    Parameters
    ----------
    statement
        The statement, with its code and values.
    units
        The reader's units.
    wordings
        The family's sentences that need more than gaps.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> from onboard.contract.alerts import Alert, AlertCode
    >>> statement_text(Alert(AlertCode.LINK_SILENT, 3.0, age_s=75.0), CHOICES["kn"])
    'Nothing over the link for 1 min 15 s: check the cable.'
    """
    wording = wordings.get(statement.code)
    if wording is not None:
        return wording(statement.values, units)
    return fill(statement.code.sentence, statement.values, units)


def fill(sentence: str, values: Values, units: Units) -> str:
    """Return a sentence with its gaps filled.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> fill("Only {left_wh} left.", {"left_wh": 12.4}, CHOICES["kn"])
    'Only 12 Wh left.'
    """
    gaps = [name for _, name, _, _ in string.Formatter().parse(sentence) if name]
    return sentence.format_map({name: written(name, values[name], units) for name in gaps})


def written(name: str, value: Value, units: Units) -> str:
    """Return a value with the unit at the end of its name; `--` if unknown.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> [written("best_m", 22_224.0, CHOICES[units]) for units in ("km/h", "kn")]
    ['22.2 km', '12.0 NM']
    >>> written("sources", ("battery 1", "battery 2"), CHOICES["km/h"])
    'battery 1, battery 2'
    >>> written("errno", 28, CHOICES["km/h"]), written("age_s", None, CHOICES["km/h"])
    ('no space left on device', '--')
    """
    if isinstance(value, tuple):
        return ", ".join(written(name, one, units) for one in value)
    if value is None:
        return UNKNOWN
    if isinstance(value, str):
        return value
    if name == "errno":
        return system_words(int(value))
    if name in RATIOS:
        return f"{value:.2g}"
    unit = unit_of(name)
    return whole(value) if unit is None else _WRITERS.get(unit, _plain(unit))(float(value), units)


def called(values: Values) -> str:
    """Return a source's name in a sentence: a numbered one takes no article.

    Examples
    --------
    >>> called({"source": "battery 1"}), called({"source": "GPS receiver"})
    ('battery 1', 'the GPS receiver')
    """
    source = str(values["source"])
    return source if source[-1:].isdigit() else f"the {source}"


def with_article(code: Code) -> Wording:
    """Return the wording of a sentence whose source takes an article."""
    return lambda values, units: fill(code.sentence, {**values, "source": called(values)}, units)


def system_words(number: int) -> str:
    """Return the operating system's message for an error number, in lower case.

    Examples
    --------
    >>> system_words(2)
    'no such file or directory'
    """
    try:
        return os.strerror(number).lower()
    except OverflowError:  # no system has such a number
        return f"unknown error {number}"


def _plain(unit: str) -> Callable[[float, Units], str]:
    return lambda value, _: f"{three_figures(value)} {unit}"


_WRITERS: Mapping[str, Callable[[float, Units], str]] = {
    "s": lambda value, _: age_text(value),
    "m": lambda value, units: f"{one_decimal(units.distance(value))} {units.distance_name}",
    "m/s": speed_text,
    "Wh/km": cost_text,
    "share": lambda value, _: percent(value),
    "Wh": lambda value, _: f"{whole(value)} Wh",
    "W": lambda value, _: f"{whole(value)} W",
    # Of a cell the second decimal counts, of a pack it does not.
    "V": lambda value, _: f"{value:.{1 if abs(value) >= 9.95 else 2}f} V",
    "A": lambda value, _: f"{value:.1f} A",
    "°C": lambda value, _: f"{whole(value)} °C",
}
