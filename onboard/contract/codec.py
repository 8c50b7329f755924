"""Records to JSON types and back: the one place where they are encoded and decoded.

What is unknown becomes null, with its reason under the field's name in the `why` of the object
around it. A number that is not finite is unknown too. Reading is strict about what a viewer cannot
do without and forgiving about the rest: unknown fields are ignored; a field that may be unknown is
unknown if it is missing or invalid; texts lose line ends and control characters; a code of a newer
daemon becomes `newer`.

The types of the records determine how they are read; each type is inspected only once.
"""

import dataclasses
import json
import math
import types
import typing
from collections.abc import Callable, Mapping
from typing import Any, Final, Literal, TypeVar

from onboard.contract.alerts import Alert
from onboard.contract.codes import Statement, Value, codes_of
from onboard.contract.commands import Mark, Set
from onboard.contract.figure import Figure, Unknown
from onboard.contract.messages import KINDS, Message, command_read
from onboard.contract.quantities import Kind, kind_of
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import SCHEMA
from onboard.contract.trip_line import TripLine

Record = TypeVar("Record")
Read = Callable[[Any], Any]

WHY: Final = "why"
NOT_STATED: Final = Unknown(Reason.NOT_STATED)
NOT_FINITE: Final = Unknown(Reason.NOT_FINITE)

LEFT_OUT: Final[Mapping[Any, tuple[str, ...]]] = {TripLine: ("position_deg",)}
"""Fields with a default, which a daemon older than these fields leaves out."""


class ContractError(Exception):
    """Input that breaks the contract; the text is the path to the difference."""


class SchemaError(ContractError):
    """The other side speaks another schema; the text is its number."""


def plain(value: Any) -> Any:  # noqa: PLR0911
    """Return a record, or a container of records, in JSON types.

    Examples
    --------
    >>> from onboard.contract.snapshot import Reach
    >>> plain(Reach(Figure(640.0, 600.0, 680.0), NOT_STATED, Figure(700.0)))["why"]
    {'target': {'code': 'not_stated'}}
    """
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if isinstance(value, Statement):
        return _statement(value)
    if isinstance(value, Mapping):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, Set | Mark):
        return value.as_dict()
    return _record(value)


def as_line(message: Message) -> bytes:
    r"""Return a message as one line of the feed.

    Examples
    --------
    >>> from onboard.contract.messages import Hello
    >>> as_line(Hello("skiff", 5.0))
    b'{"schema":2,"kind":"hello","craft":"skiff","rate_hz":5.0}\n'
    """
    kind = next(kind for kind, record in KINDS.items() if type(message) is record)
    return json_line({"schema": SCHEMA, "kind": kind, **plain(message)})


def json_line(raw: Mapping[str, Any]) -> bytes:
    """Return an object of JSON types as one line."""
    return json.dumps(raw, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def from_line(line: bytes) -> Message | None:
    """Read one line of the feed; return None for a kind that only a newer daemon knows.

    Raises
    ------
    SchemaError
        If the other side speaks another schema.
    ContractError
        If it is not a line of the feed.
    """
    try:
        raw = json.loads(line, parse_constant=lambda _: None)
    except (ValueError, RecursionError):
        raise ContractError("not JSON") from None
    if not isinstance(raw, dict) or not isinstance(kind := raw.get("kind"), str):
        raise ContractError("kind")
    if kind not in KINDS:
        return None
    if (schema := raw.get("schema")) != SCHEMA or isinstance(schema, bool):
        raise SchemaError(clean(str(schema)[:20]))
    message: Message = read(KINDS[kind], raw)
    return message


def read(kind: type[Record], raw: object) -> Record:
    """Read a record from JSON types.

    Raises
    ------
    ContractError
        If a field that may not be unknown is missing or wrong.

    Examples
    --------
    >>> from onboard.contract.snapshot import Reach
    >>> raw = {"now": {"value": 9.0}, "target": None, "why": {"target": {"code": "no_target"}}}
    >>> reach = read(Reach, raw)
    >>> reach.now, reach.target, reach.best
    (Figure(value=9.0, low=None, high=None), Unknown(no_target), Unknown(not_stated))
    """
    record: Record = reader(kind)(raw)
    return record


def _record(value: Any) -> dict[str, Any]:
    result: dict[str, Any] = {}
    why: dict[str, Any] = {}
    for name in _names(type(value)):
        part = getattr(value, name)
        if isinstance(part, float) and not math.isfinite(part):
            part = NOT_FINITE
        if isinstance(part, Unknown):
            result[name], why[name] = None, _statement(part)
        else:
            result[name] = plain(part)
    if why:
        # A record with a `why` of its own (an answer) has no field that may be unknown.
        result[WHY] = why
    return result


def _names(kind: type[Any]) -> tuple[str, ...]:
    if kind not in _NAMES:
        _NAMES[kind] = tuple(field.name for field in dataclasses.fields(kind))
    return _NAMES[kind]


def _statement(value: Statement[Any]) -> dict[str, Any]:
    result: dict[str, Any] = {"code": value.code.code}
    if isinstance(value, Alert):
        result |= {"level": value.level, "since_s": plain(value.since_s)}
    return result | {name: plain(part) for name, part in value.values.items()}


def reader(kind: Any) -> Read:
    """Return a function that reads this type; use `read` to read just one."""
    if kind not in _READERS:
        _READERS[kind] = _reader(kind)
    return _READERS[kind]


def _reader(kind: Any) -> Read:  # noqa: PLR0911
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _reader_of_union(parts)
    if origin is Literal:
        return _only(parts)
    if origin is tuple:
        return _each(reader(parts[0]), None if Ellipsis in parts else len(parts))
    if kind in _PLAIN:
        return _PLAIN[kind]
    if kind is Figure:
        return _figure
    if isinstance(kind, type) and issubclass(kind, Statement):
        return _reader_of_statement(kind)
    return _reader_of_record(kind)


def _reader_of_union(parts: tuple[Any, ...]) -> Read:
    known = [part for part in parts if part not in (Unknown, types.NoneType)]
    if Set in known:
        return command_read
    (kind,) = known
    inner = reader(kind)
    if Unknown in parts:
        # The reason is in the record around the field: see `_reader_of_record`.
        return inner
    return lambda raw: None if raw is None else inner(raw)


def _reader_of_record(kind: Any) -> Read:
    hints = typing.get_type_hints(kind)
    fields = [
        (field.name, reader(hints[field.name]), Unknown in typing.get_args(hints[field.name]))
        for field in dataclasses.fields(kind)
    ]
    younger = LEFT_OUT.get(kind, ())

    def of(raw: Any) -> Any:
        if not isinstance(raw, dict):
            raise ContractError("")
        reasons = raw.get(WHY)
        reasons = reasons if isinstance(reasons, dict) else {}
        values = {}
        for name, inner, may_be_unknown in fields:
            if name in younger and name not in raw:
                continue
            try:
                values[name] = inner(raw.get(name))
            except ContractError as problem:
                if not may_be_unknown:
                    raise ContractError(f"{name}.{problem}".rstrip(".")) from None
                values[name] = _reason(reasons.get(name))
        try:
            return kind(**values)
        except ValueError as problem:
            raise ContractError(str(problem)) from None

    return of


def _reason(raw: Any) -> Unknown:
    try:
        reason: Unknown = reader(Unknown)(raw)
    except ContractError:
        return NOT_STATED
    return reason


def _reader_of_statement(kind: Any) -> Read:
    codes = codes_of(kind)

    def of(raw: Any) -> Any:
        if not isinstance(raw, dict) or not isinstance(code := raw.get("code"), str):
            raise ContractError("code")
        try:
            row = codes(code)
            values = {name: _value(name, raw.get(name)) for name in row.names}
        except ValueError:
            row, values = codes("newer"), {"name": clean(code)}
        if issubclass(kind, Alert):
            level = _only(("note", "warning", "danger"))(raw.get("level"))
            alert = kind(row, _number(raw.get("since_s")), **values)
            alert.level = level
            return alert
        return kind(row, **values)

    return of


def _value(name: str, raw: Any) -> Value:
    """Read a statement's value; return None if it cannot be one of that name."""
    try:
        value: Value = _VALUES[kind_of(name)](raw)
    except ContractError:
        return None
    return value


def clean(text: str) -> str:
    r"""Return a text on one line, without anything that could control a terminal.

    Examples
    --------
    >>> clean("red\x1b[31m  \nprop")
    'red [31m prop'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _number(raw: Any) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise ContractError("")
    try:
        value = float(raw)
    except OverflowError:  # JSON allows integers beyond the range of a float
        raise ContractError("") from None
    if not math.isfinite(value):
        raise ContractError("")
    return value


def _whole(raw: Any) -> int:
    if type(raw) is not int:
        raise ContractError("")
    return raw


def _text(raw: Any) -> str:
    if not isinstance(raw, str):
        raise ContractError("")
    return clean(raw)


def _bool(raw: Any) -> bool:
    if not isinstance(raw, bool):
        raise ContractError("")
    return raw


def _figure(raw: Any) -> Figure:
    if not isinstance(raw, dict):
        return Figure(_number(raw))
    value = _number(raw.get("value"))
    try:
        return Figure(value, _number(raw.get("low")), _number(raw.get("high")))
    except ContractError:
        return Figure(value)


def _only(allowed: tuple[Any, ...]) -> Read:
    def of(raw: Any) -> Any:
        if not isinstance(raw, str) or raw not in allowed:
            raise ContractError("")
        return raw

    return of


def _each(inner: Read, count: int | None = None) -> Read:
    def of(raw: Any) -> tuple[Any, ...]:
        if not isinstance(raw, list) or count not in (None, len(raw)):
            raise ContractError("")
        return tuple(map(inner, raw))

    return of


_NAMES: Final[dict[Any, tuple[str, ...]]] = {}
_READERS: Final[dict[Any, Read]] = {}
"""Readers made so far, by type."""

_PLAIN: Final[dict[Any, Read]] = {float: _number, int: _whole, str: _text, bool: _bool}

_VALUES: Final[dict[Kind, Read]] = {
    "quantity": _number,
    "count": _whole,
    "text": _text,
    "quantities": _each(_number),
    "counts": _each(_whole),
    "texts": _each(_text),
}
"""Readers of a statement's values, by the kind that a name stands for."""
