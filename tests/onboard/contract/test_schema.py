"""The written contract matches the types, and the types have no free text."""

import dataclasses
import json
import types
import typing
from pathlib import Path
from typing import Any, Literal

import pytest

from onboard import contract
from onboard.contract.codec import plain
from onboard.contract.codes import Statement, codes_of
from onboard.contract.commands import Mark, Set
from onboard.contract.figure import Figure
from onboard.contract.log_remarks import LogRemark
from onboard.contract.messages import KINDS
from onboard.contract.quantities import kind_of, unit_of
from onboard.contract.remarks import Caution
from onboard.contract.schema import families, glossary_text, schema, schema_text
from tests.contract_examples import example, statement
from tests.wire import wire

HERE = Path(contract.__file__).parent

WORDS = {
    "Figures.setup": "the rider's label",
    "Figures.setups": "the rider's labels",
    "Snapshot.setup": "the rider's label",
    "Snapshot.setups": "the rider's labels",
    "Run.setup": "the rider's label",
    "Snapshot.utc": "a time, ISO 8601",
    "LinkState.source": "a connection string or a log's name",
    "Hello.craft": "the craft's name",
    "Paired.token": "a secret",
    "Paired.name": "the viewer's name",
    "Paired.craft": "the craft's name",
    "Mark.text": "the rider's words",
    "Mark.source": "a source's name",
    "Set.value": "the rider's label, or 'here'",
    "TrialPlan.setups": "the rider's labels",
    "Coach.setups": "the rider's labels",
    "Coach.ahead": "the rider's labels",
    "TrialPlace.setup": "the rider's label",
    "TrialStanding.drop": "the rider's labels",
    "TrialStanding.cautions": "codes of cautions",
}
"""Every text field of a record, and what it contains: none is a sentence."""

TEXT_VALUES = {
    "source", "sources", "name", "path", "before", "link", "key", "given", "of", "parts", "files",
    "setup", "setups", "a", "b", "others", "other", "log",
    "pack_setup", "pack_other", "drive_setup", "drive_other",
}  # fmt: skip
"""Names and paths."""

CODED_VALUES = {"dated_by", "reason", "reasons", "problem", "held", "why", "quantity", "what"}
CODED_VALUES |= {"ways"}
"""Codes of a closed set."""


def test_the_files_match_the_types() -> None:
    assert {Caution, LogRemark} <= set(families())
    assert (HERE / "schema.json").read_text(encoding="utf-8") == schema_text()
    assert (HERE / "README.md").read_text(encoding="utf-8") == glossary_text()
    assert json.loads(schema_text()) == schema()


def every_record() -> list[Any]:
    waiting: list[Any] = [*KINDS.values(), Set, Mark]
    found: list[Any] = []
    while waiting:
        kind = waiting.pop()
        if parts := typing.get_args(kind):
            waiting += parts
        elif dataclasses.is_dataclass(kind) and kind not in found:
            found.append(kind)
            waiting += typing.get_type_hints(kind).values()
    return found


def holds_text(hint: Any) -> bool:
    if typing.get_origin(hint) is Literal:
        return False
    return hint is str or any(holds_text(part) for part in typing.get_args(hint))


def test_no_field_is_free_text() -> None:
    found = {
        f"{record.__name__}.{name}"
        for record in every_record()
        for name, hint in typing.get_type_hints(record).items()
        if holds_text(hint)
    }
    assert found <= WORDS.keys()


def test_no_value_of_a_statement_is_free_text() -> None:
    names = {name for family in families() for row in codes_of(family) for name in row.names}
    texts = {name for name in names if kind_of(name) in ("text", "texts")}
    assert texts <= TEXT_VALUES | CODED_VALUES


def test_every_number_of_a_record_ends_in_its_unit_or_is_a_count() -> None:
    counts = {"seq", "messages", "lost", "bad_bytes", "system_id", "number", "id"}
    counts |= {"rests", "charges", "group", "runs", "rounds"}
    numbers = {
        name
        for record in every_record()
        if record not in (Figure, Set, Mark)
        for name, hint in typing.get_type_hints(record).items()
        if {float, int, Figure} & {hint, *typing.get_args(hint)}
    }
    nameless = {name for name in numbers if unit_of(name) is None} - counts - {"current_scale"}
    # In `range_m` and `wh_per_km` the enclosing name has the unit.
    assert nameless <= {"now", "target", "best", "trip", "since_mark"}


def matches(raw: Any, rule: dict[str, Any], defs: dict[str, Any]) -> bool:  # noqa: PLR0911
    """Return whether JSON matches a schema: a small validator for the features used here."""
    if "$ref" in rule:
        return matches(raw, defs[rule["$ref"].rpartition("/")[2]], defs)
    if "const" in rule:
        return bool(raw == rule["const"])
    if "enum" in rule:
        return raw in rule["enum"]
    if "oneOf" in rule:
        return sum(matches(raw, one, defs) for one in rule["oneOf"]) == 1
    if "anyOf" in rule and not any(matches(raw, one, defs) for one in rule["anyOf"]):
        return False
    if not all(matches(raw, one, defs) for one in rule.get("allOf", [])):
        return False
    if not _typed(raw, rule.get("type")):
        return False
    if isinstance(raw, dict):
        known = rule.get("properties", {})
        sound = all(matches(raw[key], part, defs) for key, part in known.items() if key in raw)
        return sound and set(rule.get("required", ())) <= raw.keys()
    if isinstance(raw, list) and "items" in rule:
        within = rule.get("minItems", 0) <= len(raw) <= rule.get("maxItems", len(raw))
        return within and all(matches(one, rule["items"], defs) for one in raw)
    return True


def _typed(raw: Any, wanted: Any) -> bool:
    kinds = {
        "object": dict, "array": list, "string": str, "boolean": bool, "null": types.NoneType,
        "integer": int, "number": int | float,
    }  # fmt: skip
    names = [wanted] if isinstance(wanted, str) else wanted
    if names is None:
        return True
    if isinstance(raw, bool):
        return "boolean" in names
    return any(isinstance(raw, kinds[name]) for name in names)


@pytest.mark.parametrize("kind", KINDS)
def test_every_line_sent_fits_the_schema(kind: str) -> None:
    whole = schema()
    raw = wire(example(KINDS[kind]))
    assert matches(raw, whole, whole["$defs"])
    for key in set(raw) - {"why"}:
        assert not matches({k: v for k, v in raw.items() if k != key}, whole, whole["$defs"]), key


def test_every_statement_on_the_feed_fits_the_schema() -> None:
    defs = schema()["$defs"]
    for family in (one for one in families() if one.__name__ in defs):
        for row in codes_of(family):
            made: Statement = statement(row, family)
            assert matches(plain(made), defs[family.__name__], defs), row
