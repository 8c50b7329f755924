"""Every code has a sentence, which shows each of its values in the reader's units."""

import importlib
import inspect
import itertools
import pkgutil
import re
import string
import textwrap
from typing import Any

import pytest

import groundside.words
import onboard.contract
from groundside.words.filling import Wording, statement_text, written
from groundside.words.units import CHOICES, Units
from onboard.contract.codes import Code, Statement, Value
from onboard.contract.quantities import kind_of, unit_of


def _modules(package: Any) -> list[Any]:
    return [
        importlib.import_module(f"{package.__name__}.{module.name}")
        for module in pkgutil.iter_modules(package.__path__)
        if not module.name.startswith("__")
    ]


FAMILIES = {
    name: member
    for module in _modules(onboard.contract)
    for name, member in inspect.getmembers(module, inspect.isclass)
    if issubclass(member, Code) and member is not Code
}
"""The enumerations of codes, by name."""


WORDINGS: dict[type[Code], dict[Code, Wording]] = {
    family: {
        row: wording
        for module in _modules(groundside.words)
        for row, wording in getattr(module, "WORDINGS", {}).items()
        if type(row) is family
    }
    for family in FAMILIES.values()
}
"""Sentences that need more than gaps, by family: codes of two families may be equal."""

ROWS = [row for family in FAMILIES.values() for row in family]
EVERY_ROW = pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{type(row).__name__}.{row.name}")

READERS_OWN = {
    "m": lambda units: units.distance_name,
    "m/s": lambda units: units.speed_name,
    "Wh/km": lambda units: units.consumption_name,
}
"""Units after numbers for which the reader chooses the unit."""

SAMPLES: dict[str, tuple[Value, Value]] = {
    "errno": (28, 5),
    "reason": ("no_fix", "no_gps"),
    "reasons": (("no_run_back",), ("not_opposite",)),
    "key": ("text", "reserve_fraction"),
    "of": ("note", "charged"),
    "held": ("motor_current", "not_known"),
    "ways": (("longer", "other_way_round"), ("shorter", "other_shape")),
    "dated_by": ("stamps", "nothing"),
}
"""Two values for each name whose values are codes or error numbers."""

PROBLEMS: dict[str, tuple[Value, Value]] = {
    "link_down": ("cannot_open", "broke"),
    "record_stopped": ("refused", "no_answer"),
    "record_at_risk": ("refused", "no_answer"),
    "record_moved": ("renamed", "removed"),
}
"""Two of the problems of each alert."""

BY_KIND: dict[str, tuple[Value, Value]] = {
    "quantity": (17.3, 61.8),
    "quantities": ((17.3, 42.6), (61.8, 77.2)),
    "count": (3, 8),
    "counts": ((3, 4), (7, 8)),
    "text": ("slim 3", "broad 2"),
    "texts": (("slim 3", "broad 2"), ("broad 2", "slim 3")),
}

FRACTIONS = (0.31, 0.42)

EITHER: dict[str, str] = {"problem": "errno", "leg_sd_mps": "change_mps"}
"""Values that show only if another is unknown."""


def samples(row: Code, name: str) -> tuple[Value, Value]:
    """Return two values that a statement may hold under a name."""
    if name == "problem":
        return PROBLEMS[row.code]
    if name in SAMPLES:
        return SAMPLES[name]
    return FRACTIONS if unit_of(name) == "share" else BY_KIND[kind_of(name)]


def text_of(row: Code, units: Units, **other: Value) -> str:
    values = {name: samples(row, name)[0] for name in row.names} | other
    return statement_text(Statement(row, **values), units, WORDINGS[type(row)])


def aside_of(row: Code, name: str) -> dict[str, Value]:
    """Return what must be unknown for a value to show."""
    return {EITHER[name]: None} if EITHER.get(name) in row.names else {}


def asides(row: Code) -> list[dict[str, Value]]:
    """Return the variants of a row to test: all values known, and each with one unknown."""
    return [{}, *(aside for name in row.names if (aside := aside_of(row, name)))]


def gaps(sentence: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name}


@EVERY_ROW
def test_it_has_a_sentence(row: Code) -> None:
    assert row.sentence
    assert gaps(row.sentence) == set(row.names)


def test_no_wording_shadows_another() -> None:
    tables = [getattr(module, "WORDINGS", {}) for module in _modules(groundside.words)]
    assert sum(map(len, WORDINGS.values())) == sum(map(len, tables))
    assert 0 < sum(map(len, tables)) < len(ROWS) / 4


@EVERY_ROW
def test_it_is_painted(row: Code) -> None:
    for units, width, aside in itertools.product(CHOICES.values(), (40, 80), asides(row)):
        text = text_of(row, units, **aside)
        lines = textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False)
        assert lines
        assert all(len(line) <= width for line in lines), text
        assert text.isprintable()
        assert text == " ".join(text.split())
        # Nothing of its internal representation.
        assert not set("{}") & set(text), text
        assert not any(name in text for name in row.names if "_" in name), text
        assert "None" not in text


@EVERY_ROW
def test_gaps_are_filled_with_the_values(row: Code) -> None:
    if row not in WORDINGS[type(row)]:
        text = text_of(row, CHOICES["kn"])
        for name in row.names:
            assert written(name, samples(row, name)[0], CHOICES["kn"]) in text


@EVERY_ROW
def test_every_value_makes_a_difference(row: Code) -> None:
    for name in row.names:
        first, second = (
            text_of(row, CHOICES["km/h"], **aside_of(row, name), **{name: value})
            for value in samples(row, name)
        )
        assert first != second, name


@EVERY_ROW
def test_a_speed_or_distance_is_in_the_reader_s_units(row: Code) -> None:
    for name in row.names:
        own = READERS_OWN.get(unit_of(name) or "")
        if own is None:
            continue
        for units in CHOICES.values():
            text = text_of(row, units, **aside_of(row, name))
            assert re.search(rf"\d {re.escape(own(units))}(?![\w/])", text), text


def test_some_rows_hold_speeds_and_distances() -> None:
    units = {unit_of(name) for row in ROWS for name in row.names}
    assert {"m", "m/s"} <= units
