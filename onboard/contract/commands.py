"""Commands of viewers to the daemon: each one strict line of JSON, or refused.

There are only these few settings and marks; none of them reaches the autopilot.
"""

import json
import re
from collections.abc import Callable
from typing import Any, Final, Literal, NoReturn, TypeGuard, cast, get_args

from onboard.contract.refusals import Refusal, RefusalCode
from onboard.dataclass import dataclass

LONGEST_BYTES: Final = 2560
"""Longest line, its end not counted: room for the longest trial in unescaped UTF-8."""

HIGHEST_ID: Final = 2**53
"""Whole numbers up to here are exact in every JSON reader (RFC 8259, section 6)."""

LABEL_MOST: Final = 40
TEXT_MOST: Final = 200
SETUPS_LEAST, SETUPS_MOST = 2, 12
"""Set-ups of a trial: as many as can be ridden alternately in a day. Common practice, no source."""
SHOWN_MOST: Final = 40
"""Characters of the offending value that a refusal repeats."""

AmountKind = Literal["charged_wh", "charged_ah", "left_fraction"]
Amount = tuple[AmountKind, float]
"""Energy [Wh] or charge [Ah] that went into the pack, measured between charger and pack; or how
full the whole pack is now, the reserve included."""

Key = Literal[
    "target_distance_m",
    "target_speed_mps",
    "target_power_w",
    "home",
    "setup",
    "trial",
    "reserve_fraction",
]
RunKind = Literal["laps", "there_and_back"]
"""How the runs of a trial are ridden."""
MarkName = Literal[
    "run_start", "run_end", "charged_full", "charged", "unplugged", "new_trip", "note"
]
Position = tuple[float, float]


@dataclass(frozen=True)
class TrialPlan:
    """The set-ups of a trial.

    Parameters
    ----------
    setups
        Their labels, each once.
    kind
        How their runs are ridden.
    """

    setups: tuple[str, ...]
    kind: RunKind


Value = float | str | Position | TrialPlan | None

NUMBERS: Final[dict[str, tuple[float, float]]] = {
    "target_distance_m": (1.0, 1e6),
    "target_speed_mps": (0.1, 50.0),
    "target_power_w": (1.0, 1e5),
    "reserve_fraction": (0.0, 0.9),
}
"""Least and most: what makes sense for a craft under 5 m and 5 kW, with room to spare. Common
practice, no source."""

AMOUNTS: Final[dict[str, float]] = {"charged_wh": 1e5, "charged_ah": 1e4, "left_fraction": 1.0}
"""The amounts, one of which `charged` carries, and the most of each; 0 Wh is 'not charged'."""

TARGETS: Final = ("target_distance_m", "target_speed_mps", "target_power_w")
"""Settings that null clears."""

HERE: Final = "here"

LATITUDE_MOST_DEG, LONGITUDE_MOST_DEG = 90.0, 180.0

SOURCE: Final = re.compile(
    r"(battery|motor) [0-9]{1,3}|GPS receiver|fused velocity|display speed", re.ASCII
)


@dataclass(frozen=True)
class Set:
    """A setting that stays until it is set again.

    Parameters
    ----------
    id
        The viewer's own number, which comes back with the answer.
    key
        What to set.
    value
        A number, or None to clear a target; for `home`, latitude and longitude [deg] or "here"; for
        `setup`, a label; for `trial`, its set-ups, or None to end it.
    """

    id: int
    key: Key
    value: Value

    def as_dict(self) -> dict[str, Any]:
        """Return the command in JSON types."""
        value: Any = self.value
        if isinstance(value, TrialPlan):
            value = {"setups": list(value.setups), "kind": value.kind}
        elif isinstance(value, tuple):
            value = list(value)
        return {"kind": "set", "id": self.id, "key": self.key, "value": value}


@dataclass(frozen=True)
class Mark:
    """Something that happens now.

    Parameters
    ----------
    id
        The viewer's own number, which comes back with the answer.
    mark
        What happens.
    text
        The rider's words; all that a `note` has.
    amount
        For `charged`, a key with its value: energy or charge that went into the pack, measured
        between charger and pack, or how full the whole pack is now, the reserve included.
    source
        For `unplugged`, which, as alerts name it: "battery 1", "motor 0", "GPS receiver".
    """

    id: int
    mark: MarkName
    text: str = ""
    amount: Amount | None = None
    source: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the command in JSON types."""
        raw = {"kind": "mark", "id": self.id, "mark": self.mark, "text": self.text}
        if self.amount is not None:
            raw[self.amount[0]] = self.amount[1]
        return raw | ({"source": self.source} if self.source else {})


Command = Set | Mark


@dataclass(frozen=True)
class Refused:
    """What is not a command, and why.

    Parameters
    ----------
    id
        The viewer's number, None if none could be read.
    why
        What is wrong with it.
    """

    id: int | None
    why: Refusal


class _NotAllowedError(Exception):
    """What is wrong."""

    def __init__(self, code: RefusalCode, **values: str | int) -> None:
        super().__init__(code.code)
        self.why = Refusal(code, **values)


def parse_command(line: bytes) -> Command | Refused:
    r"""Read a command from one line.

    Examples
    --------
    >>> parse_command(b'{"kind": "set", "id": 1, "key": "target_speed_mps", "value": 2.5}\n')
    Set(id=1, key='target_speed_mps', value=2.5)
    >>> parse_command(b'{"kind": "mark", "id": 2, "mark": "stop"}').why
    Refusal(not_allowed, key='mark', given='"stop"', of='')
    """
    line = line.rstrip(b"\r\n")
    if len(line) > LONGEST_BYTES:
        return Refused(None, Refusal(RefusalCode.LINE_TOO_LONG, most=LONGEST_BYTES))
    try:
        text = line.decode("utf-8")
        raw = json.loads(text, parse_constant=_no_constant, object_pairs_hook=_no_duplicates)
    except _NotAllowedError as problem:
        return Refused(None, problem.why)
    except UnicodeDecodeError:
        return Refused(None, Refusal(RefusalCode.NOT_UTF_8))
    except (ValueError, RecursionError):
        return Refused(None, Refusal(RefusalCode.NOT_JSON))
    return command_from(raw)


def command_from(raw: object) -> Command | Refused:
    """Read a command from parsed JSON."""
    number = raw.get("id") if isinstance(raw, dict) else None
    known_id = number if _is_id(number) else None
    try:
        return _command(raw)
    except _NotAllowedError as problem:
        return Refused(known_id, problem.why)


def _command(raw: object) -> Command:
    if not isinstance(raw, dict):
        raise _not_allowed("", raw)
    kind = raw.get("kind")
    if kind == "set":
        _only(raw, ("kind", "id", "key", "value"), ())
        key, value = raw["key"], raw["value"]
        if not (isinstance(key, str) and key in get_args(Key)):
            raise _not_allowed("key", key)
        return Set(_id(raw["id"]), cast(Key, key), _value(key, value))
    if kind == "mark":
        amounts = tuple(AMOUNTS) if raw.get("mark") == "charged" else ()
        unplugged = raw.get("mark") == "unplugged"
        needed = ("kind", "id", "mark", *(("source",) if unplugged else ()))
        _only(raw, needed, ("text", *amounts))
        mark, text, source = raw["mark"], raw.get("text", ""), raw.get("source", "")
        if not (isinstance(mark, str) and mark in get_args(MarkName)):
            raise _not_allowed("mark", mark)
        least = 1 if mark == "note" else 0
        if not _is_text(text, least, TEXT_MOST):
            raise _not_allowed("text", text, mark)
        amount = _amount(raw) if mark == "charged" else None
        if unplugged and not (isinstance(source, str) and SOURCE.fullmatch(source)):
            raise _not_allowed("source", source)
        return Mark(_id(raw["id"]), cast(MarkName, mark), text, amount, source)
    raise _not_allowed("kind", kind)


def _value(key: str, value: object) -> Value:
    if key == "home":
        return _place(value)
    if key == "setup":
        if _is_label(value):
            return value
        raise _not_allowed("value", value, key)
    if key == "trial":
        return _trial(value)
    if key in TARGETS and value is None:
        return None
    return _number("value", value, *NUMBERS[key], key)


def _trial(value: object) -> TrialPlan | None:
    if value is None:
        return None
    if not (isinstance(value, dict) and value.keys() == {"setups", "kind"}):
        raise _not_allowed("value", value, "trial")
    setups, kind = value["setups"], value["kind"]
    named = isinstance(setups, list) and SETUPS_LEAST <= len(setups) <= SETUPS_MOST
    if not (named and all(map(_is_label, setups)) and len(set(setups)) == len(setups)):
        raise _not_allowed("value", value, "trial")
    if kind not in get_args(RunKind):
        raise _not_allowed("value", value, "trial")
    return TrialPlan(tuple(setups), kind)


def _is_label(value: object) -> TypeGuard[str]:
    # Spaces at the ends cannot be seen, and would make two set-ups of one.
    return _is_text(value, 1, LABEL_MOST) and value == value.strip()


def _amount(raw: dict[str, Any]) -> Amount:
    found = [key for key in AMOUNTS if key in raw]
    if len(found) != 1:
        raise _NotAllowedError(RefusalCode.NOT_ONE_AMOUNT)
    key = found[0]
    return cast(AmountKind, key), _number(key, raw[key], 0.0, AMOUNTS[key])


def _place(value: object) -> Position | str:
    if value == HERE:
        return HERE
    if not (isinstance(value, list) and len(value) == 2):
        raise _not_allowed("value", value, "home")
    latitude, longitude = value
    return (
        _number("latitude", latitude, -LATITUDE_MOST_DEG, LATITUDE_MOST_DEG),
        _number("longitude", longitude, -LONGITUDE_MOST_DEG, LONGITUDE_MOST_DEG),
    )


def _number(name: str, value: object, least: float, most: float, of: str = "") -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _not_allowed(name, value, of)
    # Compared before it becomes a float: an integer may be too large for one.
    if not least <= value <= most:
        raise _not_allowed(name, value, of)
    return float(value)


def _is_id(value: object) -> TypeGuard[int]:
    return type(value) is int and 0 <= value <= HIGHEST_ID


def _id(value: object) -> int:
    if not _is_id(value):
        raise _not_allowed("id", value)
    return value


def _is_text(value: object, least: int, most: int) -> TypeGuard[str]:
    # Unprintable characters could control the reader's terminal.
    return isinstance(value, str) and least <= len(value) <= most and value.isprintable()


def _only(raw: dict[str, Any], needed: tuple[str, ...], allowed: tuple[str, ...]) -> None:
    for key in needed:
        if key not in raw:
            raise _NotAllowedError(RefusalCode.MISSING, key=key)
    for key in raw:
        if key not in needed + allowed:
            raise _NotAllowedError(RefusalCode.NO_SUCH_KEY, key=shown(key))


def shown(value: object) -> str:
    """Return a value as one short printable line, for a refusal to repeat."""
    try:
        text = json.dumps(value)
    except (TypeError, ValueError, RecursionError):
        text = "this"
    return text if len(text) <= SHOWN_MOST else text[: SHOWN_MOST - 3] + "..."


def _not_allowed(key: str, given: object, of: str = "") -> _NotAllowedError:
    return _NotAllowedError(RefusalCode.NOT_ALLOWED, key=key, given=shown(given), of=of)


def _no_constant(name: str) -> NoReturn:
    raise _NotAllowedError(RefusalCode.NO_NUMBER, given=name)


def _no_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise _NotAllowedError(RefusalCode.KEY_TWICE)
    return found


Reply = Callable[[Refusal | None, Command | None], None]
"""Answers a command, once: with the refusal, or None if it was carried out; and with the command as
carried out if that is more specific (a home "here" with its position), else None."""
