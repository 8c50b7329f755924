"""The contract in writing: a schema for programs (JSON Schema 2020-12), a glossary for people.

Both are generated from the types; a test holds the files in this folder to them.
"""

import dataclasses
import json
import types
import typing
from collections.abc import Iterator
from typing import Any, Final, Literal

from onboard.contract import commands
from onboard.contract.alerts import Alert, AlertCode, Event
from onboard.contract.codes import Statement, codes_of
from onboard.contract.commands import Mark, Set
from onboard.contract.figure import Figure, Unknown
from onboard.contract.messages import KINDS
from onboard.contract.quantities import Kind, kind_of, unit_of
from onboard.contract.snapshot import SCHEMA, Snapshot

_NUMBER: Final = {"type": "number"}
_TEXT: Final = {"type": "string"}
_VALUES: Final[dict[Kind, dict[str, Any]]] = {
    "quantity": {"type": ["number", "null"]},
    "quantities": {"type": ["array", "null"], "items": _NUMBER},
    "count": {"type": ["integer", "null"]},
    "counts": {"type": ["array", "null"], "items": {"type": "integer"}},
    "text": {"type": ["string", "null"]},
    "texts": {"type": ["array", "null"], "items": _TEXT},
}
_PLAIN: Final[dict[Any, dict[str, Any]]] = {
    float: _NUMBER,
    int: {"type": "integer"},
    str: _TEXT,
    bool: {"type": "boolean"},
    types.NoneType: {"type": "null"},
}


OF_ALL: Final = {"Consumption": "Wh/km", "Reach": "m"}
"""Unit of all fields of a record."""


def schema() -> dict[str, Any]:
    """Return the schema: the lines of the feed by kind, and everything that they are made of."""
    made = _Definitions()
    kinds = []
    for kind, record in KINDS.items():
        made.of(record)
        kinds.append(
            {
                "properties": {"schema": {"const": SCHEMA}, "kind": {"const": kind}},
                "required": ["schema", "kind"],
                "allOf": [{"$ref": f"#/$defs/{record.__name__}"}],
            }
        )
    for record in (Set, Mark, Event):
        made.of(record)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "wattwake feed",
        "oneOf": kinds,
        "$defs": dict(sorted(made.found.items())),
    }


class _Definitions:
    """Collects the definitions of records and statements."""

    def __init__(self) -> None:
        self.found: dict[str, Any] = {}

    def of(self, kind: Any) -> dict[str, Any]:
        """Return the schema of a type; a named type is defined once and referred to."""
        origin, parts = typing.get_origin(kind), typing.get_args(kind)
        if origin in (typing.Union, types.UnionType):
            nothing = (Unknown, types.NoneType)
            known = [self.of(part) for part in parts if part not in nothing]
            null = [{"type": "null"}] if any(part in parts for part in nothing) else []
            return {"anyOf": [*known, *null]}
        if origin is Literal:
            return {"enum": list(parts)}
        if origin is tuple:
            fixed = Ellipsis not in parts
            length = {"minItems": len(parts), "maxItems": len(parts)} if fixed else {}
            return {"type": "array", "items": self.of(parts[0])} | length
        if kind in _PLAIN:
            return dict(_PLAIN[kind])
        if kind.__name__ not in self.found:
            self.found[kind.__name__] = {}  # it may refer to itself
            named = _statement if issubclass(kind, Statement) else self._record
            self.found[kind.__name__] = named(kind)
        return {"$ref": f"#/$defs/{kind.__name__}"}

    def _record(self, kind: Any) -> dict[str, Any]:
        hints = typing.get_type_hints(kind)
        names = [field.name for field in dataclasses.fields(kind)]
        properties = {name: self.of(hints[name]) for name in names}
        unknown = [name for name in names if Unknown in typing.get_args(hints[name])]
        if unknown:
            why = {"type": "object", "additionalProperties": self.of(Unknown)}
            properties["why"] = why
        if kind in (Set, Mark):
            properties = {"kind": {"const": kind.__name__.lower()}} | properties
        needed = [name for name in names if name in properties and kind is not Mark]
        return {"type": "object", "properties": properties, "required": needed}


def _statement(family: type[Statement[Any]]) -> dict[str, Any]:
    own = {"level": {"enum": ["note", "warning", "danger"]}, "since_s": _NUMBER}
    shared = own if family is Alert else {}
    return {
        "oneOf": [
            {
                "type": "object",
                "description": row.meaning,
                "properties": {"code": {"const": row.code}, **shared}
                | {name: _VALUES[kind_of(name)] for name in row.names},
                "required": ["code", *shared, *row.names],
            }
            for row in codes_of(family)
        ]
    }


def schema_text() -> str:
    """Return the text of `schema.json`: a line for each definition, so that a change stands out."""
    whole = schema()
    rows = [f"  {_one_line(name)}: {_one_line(made)}" for name, made in whole.pop("$defs").items()]
    head = [f" {_one_line(name)}: {_one_line(part)}," for name, part in whole.items()]
    return "\n".join(["{", *head, ' "$defs": {', ",\n".join(rows), " }", "}"]) + "\n"


def _one_line(part: Any) -> str:
    return json.dumps(part, ensure_ascii=False, separators=(",", ":"))


def families() -> tuple[type[Statement[Any]], ...]:
    """Return every family of statements imported so far."""
    return tuple(sorted(Statement.__subclasses__(), key=lambda family: family.__name__))


def glossary_text() -> str:
    """Return the text of `README.md`."""
    return "\n".join([*_HEAD.splitlines(), *_records(), *_statements(), *_limits()]) + "\n"


def _records() -> Iterator[str]:
    yield "## Records"
    found = {record.__name__: record for record in _every_record(Snapshot, *KINDS.values(), Event)}
    for name, record in found.items():
        yield from ("", f"### {name}", "", _first_paragraph(record), "")
        yield from ("| field | unit | unknown | meaning |", "|---|---|---|---|")
        hints, meanings = typing.get_type_hints(record), _meanings(record)
        for field in dataclasses.fields(record):
            hint = hints[field.name]
            may = "may be" if Unknown in typing.get_args(hint) else ""
            # In these the name around them bears the unit: `range_m`, `wh_per_km`.
            unit = OF_ALL.get(name) or (unit_of(field.name) if _is_number(hint) else "")
            yield f"| `{field.name}` | {unit or ''} | {may} | {meanings.get(field.name, '')} |"


def _first_paragraph(of: type[Any]) -> str:
    return str(of.__doc__).split("\n\n", maxsplit=1)[0].replace("\n", " ").strip()


def _every_record(*kinds: Any) -> Iterator[Any]:
    """Yield records and the records in them, each once, from the outside in."""
    waiting, seen = list(kinds), set()
    while waiting:
        kind = waiting.pop(0)
        parts = typing.get_args(kind)
        if parts:
            waiting += parts
        elif dataclasses.is_dataclass(kind) and kind not in seen and kind not in (Set, Mark):
            seen.add(kind)
            yield kind
            waiting += typing.get_type_hints(kind).values()


def _is_number(hint: Any) -> bool:
    parts = typing.get_args(hint) or (hint,)
    return any(part in (float, int, Figure) or float in typing.get_args(part) for part in parts)


def _meanings(record: Any) -> dict[str, str]:
    """Return the fields' meanings, read from the docstrings of a record and its bases."""
    found: dict[str, str] = {}
    for base in reversed(record.__mro__):
        names: list[str] = []
        for line in (base.__doc__ or "").splitlines():
            text = line.strip()
            if line.startswith("    ") and not line.startswith("     ") and text:
                names = [name.strip() for name in text.split(",")]
            elif line.startswith("        ") and names:
                for name in names:
                    found[name] = f"{found.get(name, '')} {text}".strip()
    known = {field.name for field in dataclasses.fields(record)}
    return {name: text for name, text in found.items() if name in known}


def _statements() -> Iterator[str]:
    for family in families():
        codes = codes_of(family)
        yield from ("", f"## {family.__name__}", "", _first_paragraph(family), "")
        if codes is AlertCode:
            yield from (
                "Each also bears its `level`, and `since_s`, for how long it has been on.",
                "",
            )
            yield from ("| code | level | meaning | values |", "|---|---|---|---|")
        else:
            yield from ("| code | meaning | values |", "|---|---|---|")
        for row in codes:
            level = f" {row.level} |" if isinstance(row, AlertCode) else ""
            values = ", ".join(f"`{name}`" for name in row.names)
            yield f"| `{row.code}` |{level} {row.meaning} | {values} |"


def _limits() -> Iterator[str]:
    yield from ("", "## What viewers may set and mark", "")
    yield (
        'A line each, without a schema: `{"kind": "set", "id", "key", "value"}` or '
        '`{"kind": "mark", "id", "mark", "text"}`; `id` is the viewer\'s own number, which '
        "comes back in the `ack`. Any other key is refused."
    )
    yield from ("", "| key | allowed |", "|---|---|")
    for key in typing.get_args(commands.Key):
        if key in commands.NUMBERS:
            least, most = commands.NUMBERS[key]
            clears = ", or null to clear it" if key in commands.TARGETS else ""
            yield f"| `{key}` | a number from {least:g} to {most:g}{clears} |"
        elif key == "home":
            yield f'| `{key}` | "here", or [latitude, longitude] in degrees |'
        elif key == "trial":
            kinds = " or ".join(f'"{kind}"' for kind in typing.get_args(commands.RunKind))
            yield (
                f'| `{key}` | {{"setups": {commands.SETUPS_LEAST} to {commands.SETUPS_MOST} '
                f'labels, each once, "kind": {kinds}}}, or null to end it |'
            )
        else:
            yield f"| `{key}` | a label of 1 to {commands.LABEL_MOST} printable characters |"
    yield ""
    marks = ", ".join(f"`{name}`" for name in typing.get_args(commands.MarkName))
    yield (
        f"Marks: {marks}. `charged` carries one of "
        + ", ".join(f"`{key}` (0 to {most:g})" for key, most in commands.AMOUNTS.items())
        + "; `unplugged` a `source` as an alert names it. This `left_fraction` is of the whole "
        "pack, the reserve included, unlike that of the battery's state; 0 Wh says that it was "
        "not charged."
    )


_HEAD: Final = """# What craft and screen agree on

Written by `python -m onboard.contract` from the types in this folder; a test compares them.

Everything is in SI units, and a name ends in its unit (Wh/km, Wh, Ah and degrees are the customary
exceptions). A figure is `{"value", "low", "high"}`: the estimate and its 95 % interval. What is
unknown is null, and the object that holds it says why under `"why": {field: reason}`. A reason, an
alert or a refusal is a code with its values, never a sentence: words are made where they are read
(`groundside/words`), in the reader's units, from the template beside the code below. The only free
text is the rider's words, names and paths; a system error travels as its number, `errno`.

The feed is UTF-8 with one JSON object on each line. Each line of the daemon has `"schema": 2` and
its kind: `hello` first, then `snapshot` five times a second, `trip_line` now and then, and `ack` to
each command. A reader passes over fields, kinds and codes that it does not know. Snapshots say
where the craft is, and the trip line where it was: both go to the same viewers, on this board or
paired as crew or viewer, and to nobody else.

The records are plain dataclasses with a codec of some 350 lines, not a serialisation library: no
such library by itself reads or writes a null whose reason is beside it in the object that holds it,
so that half of the work would have to be done here anyway; and the daemon starts without one more
compiled wheel.

"""
