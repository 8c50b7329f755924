"""Commands of viewers: each one is read, and nothing else is accepted."""

import json
import math
from typing import Any, get_args

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from groundside.words.refusals import refusal_text
from groundside.words.units import DEFAULT
from onboard.contract.commands import (
    HIGHEST_ID,
    LONGEST_BYTES,
    NUMBERS,
    Command,
    Key,
    Mark,
    MarkName,
    Refused,
    Set,
    TrialPlan,
    command_from,
    parse_command,
)

LONGEST_LABELS = [f"{n:02d}{'😀' * 38}" for n in range(12)]


def line(**parts: Any) -> bytes:
    return json.dumps(parts, ensure_ascii=False).encode("utf-8", "surrogatepass")


def put(key: str, value: Any) -> bytes:
    return line(kind="set", id=7, key=key, value=value)


def why(line: bytes) -> str:
    refused = parse_command(line)
    assert isinstance(refused, Refused), line
    return refusal_text(refused.why, DEFAULT)


@pytest.mark.parametrize(
    ("line", "command"),
    [
        (put("target_distance_m", 12000), Set(7, "target_distance_m", 12000.0)),
        (put("target_speed_mps", 2.5), Set(7, "target_speed_mps", 2.5)),
        (put("target_power_w", None), Set(7, "target_power_w", None)),
        (put("home", "here"), Set(7, "home", "here")),
        (put("home", [45, -30.25]), Set(7, "home", (45.0, -30.25))),
        (put("home", [-90, 180]), Set(7, "home", (-90.0, 180.0))),
        (put("setup", "hélice 12×9"), Set(7, "setup", "hélice 12×9")),
        (put("setup", "x" * 40), Set(7, "setup", "x" * 40)),
        (
            put("trial", {"setups": ["A", "slim prop"], "kind": "laps"}),
            Set(7, "trial", TrialPlan(("A", "slim prop"), "laps")),
        ),
        (
            put("trial", {"setups": LONGEST_LABELS, "kind": "there_and_back"}),
            Set(7, "trial", TrialPlan(tuple(LONGEST_LABELS), "there_and_back")),
        ),
        (put("trial", None), Set(7, "trial", None)),
        (put("reserve_fraction", 0), Set(7, "reserve_fraction", 0.0)),
        (put("reserve_fraction", 0.9), Set(7, "reserve_fraction", 0.9)),
        (line(kind="mark", id=0, mark="run_start"), Mark(0, "run_start")),
        (line(kind="mark", id=HIGHEST_ID, mark="run_end", text="b"), Mark(2**53, "run_end", "b")),
        (line(kind="mark", id=1, mark="charged_full", text=""), Mark(1, "charged_full")),
        (
            line(kind="mark", id=1, mark="charged", charged_wh=0),
            Mark(1, "charged", amount=("charged_wh", 0.0)),
        ),
        (
            line(kind="mark", id=1, mark="charged", text="pier", left_fraction=0.8),
            Mark(1, "charged", "pier", ("left_fraction", 0.8)),
        ),
        (line(kind="mark", id=1, mark="new_trip"), Mark(1, "new_trip")),
        (
            line(kind="mark", id=1, mark="unplugged", source="battery 1"),
            Mark(1, "unplugged", source="battery 1"),
        ),
        (
            line(kind="mark", id=1, mark="unplugged", source="GPS receiver", text="wet"),
            Mark(1, "unplugged", "wet", source="GPS receiver"),
        ),
        (line(kind="mark", id=1, mark="note", text="😀" * 200), Mark(1, "note", "😀" * 200)),
        (b' {"id":1 ,"mark":"run_end","kind":"mark"}\r\n', Mark(1, "run_end")),
    ],
)
def test_each_command_is_read(line: bytes, command: Command) -> None:
    read = parse_command(line)
    assert read == command
    assert command_from(json.loads(json.dumps(command.as_dict()))) == command
    if isinstance(read, Set) and isinstance(read.value, (int, float)):
        assert type(read.value) is float


@pytest.mark.parametrize(
    ("line", "because"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe", "not UTF-8"),
        ('{"kind": "mark"}'.encode("utf-16"), "not UTF-8"),
        (b"\xef\xbb\xbf{}", "not JSON"),
        (b"[" * LONGEST_BYTES, "not JSON"),
        (b"[" * 500 + b"]" * 500, "the line = [[[["),
        (b" " * (LONGEST_BYTES + 1), "longer than 2560 bytes"),
        (b'{"kind": "set"} {}', "not JSON"),
        (b"__import__('os')", "not JSON"),
        (b"null", "the line = null: expected an object"),
        (b"{}", "kind = null: expected set or mark"),
        (line(kind="stop", id=1), 'kind = "stop": expected set or mark'),
        (line(kind=["set"], id=1), "kind = "),
        (line(kind="set", key="setup", value="a"), "id: missing"),
        (line(kind="set", id=1, key="setup"), "value: missing"),
        (line(kind="set", id=1, value=3), "key: missing"),
        (line(kind="mark", id=1), "mark: missing"),
        (line(kind="set", id=1, key="throttle", value=1), 'key = "throttle": expected target_'),
        (line(kind="set", id=1, key=["home"], value=1), "key = "),
        (line(kind="set", id=1, key="setup", value="a", now=1), '"now": no such key'),
        (line(kind="mark", id=1, mark="run_end", value=1), '"value": no such key'),
        (b'{"kind": "mark", "id": 1, "id": 2, "mark": "run_end"}', "a key appears twice"),
        (line(kind="mark", id=1, mark="arm"), 'mark = "arm": expected run_start'),
        (line(kind="mark", id=1, mark=None), "mark = null"),
        (line(kind="mark", id=1, mark="unplugged"), "source: missing"),
        (line(kind="mark", id=1, mark="run_end", source="motor 0"), '"source": no such key'),
        (line(kind="mark", id=1, mark="unplugged", source="pack"), 'expected "battery 1", "motor'),
        (line(kind="mark", id=1, mark="unplugged", source="battery 1\n"), "source = "),
        (line(kind="mark", id=1, mark="unplugged", source=[1]), "source = [1]"),
        (line(kind="mark", id=1, mark="note"), 'text = "": expected 1 to 200 printable'),
        (line(kind="mark", id=1, mark="note", text="x" * 201), "text = "),
        (line(kind="mark", id=1, mark="note", text="a\x1b[2J"), "text = "),
        (line(kind="mark", id=1, mark="note", text="a\nb"), "text = "),
        (line(kind="mark", id=1, mark="note", text="\u202egood"), "text = "),
        (b'{"kind": "mark", "id": 1, "mark": "note", "text": "\\ud800"}', "text = "),
        (line(kind="mark", id=1, mark="note", text=5), "text = 5"),
        (line(kind="mark", id=1, mark="charged"), "exactly one of charged_wh, charged_ah or left"),
        (line(kind="mark", id=1, mark="charged", charged_wh=1, charged_ah=1), "exactly one of"),
        (line(kind="mark", id=1, mark="charged", charged_wh=-1), "charged_wh = -1: expected a"),
        (line(kind="mark", id=1, mark="charged", left_fraction=80), "a number from 0 to 1"),
        (line(kind="mark", id=1, mark="charged_full", charged_ah=1), '"charged_ah": no such key'),
        (line(kind="mark", id=1.0, mark="run_end"), "id = 1.0: expected a whole number"),
        (line(kind="mark", id=True, mark="run_end"), "id = true"),
        (line(kind="mark", id="1", mark="run_end"), 'id = "1"'),
        (line(kind="mark", id=None, mark="run_end"), "id = null"),
        (line(kind="mark", id=-1, mark="run_end"), "id = -1"),
        (line(kind="mark", id=2**53 + 1, mark="run_end"), "id = 9007199254740993"),
        (put("target_distance_m", 0), "value = 0: expected a number from 1 to 1000000, or null"),
        (put("target_distance_m", -3), "value = -3"),
        (put("target_distance_m", "12"), 'value = "12"'),
        (put("target_distance_m", True), "value = true"),
        (put("target_distance_m", [1]), "value = [1]"),
        (put("target_distance_m", 10**400), "value = 1000"),
        (put("target_speed_mps", math.nan), "NaN is not JSON"),
        (put("target_speed_mps", -math.inf), "-Infinity is not JSON"),
        (b'{"kind":"set","id":1,"key":"target_power_w","value":1e999}', "expected a number from 1"),
        (put("reserve_fraction", 0.91), "value = 0.91: expected a number from 0 to 0.9"),
        (put("reserve_fraction", -1e-9), "value = -1e-09"),
        (put("reserve_fraction", None), "value = null"),
        (put("setup", None), "value = null"),
        (put("setup", ""), 'value = "": expected a label of 1 to 40'),
        (put("setup", "x" * 41), "value = "),
        (put("setup", " a"), "no space at either end"),
        (put("setup", "a\u00a0"), "no space at either end"),
        (put("setup", "a\tb"), "printable"),
        (put("home", None), 'value = null: expected "here", or [latitude, longitude]'),
        (put("home", "there"), 'value = "there"'),
        (put("home", [45.0]), "value = [45.0]"),
        (put("home", [45.0, 1, 2]), "value = [45.0, 1, 2]"),
        (put("home", [90.1, 0]), "latitude = 90.1: expected a number from -90 to 90"),
        (put("home", [0, -180.5]), "longitude = -180.5"),
        (put("home", ["45", 0]), 'latitude = "45"'),
        (put("home", [None, 0]), "latitude = null"),
        (put("home", {"lat": 1, "lon": 2}), "value = "),
        (put("trial", "A"), 'value = "A": expected null, or 2 to 12 set-ups, each once, and laps'),
        (put("trial", {"setups": ["A"], "kind": "laps"}), "value = "),
        (put("trial", {"setups": ["A", "A"], "kind": "laps"}), "value = "),
        (put("trial", {"setups": ["A", " B"], "kind": "laps"}), "value = "),
        (put("trial", {"setups": ["A", 2], "kind": "laps"}), "value = "),
        (put("trial", {"setups": ["A", "B"], "kind": "circles"}), "value = "),
        (put("trial", {"setups": ["A", "B"], "kind": ["laps"]}), "value = "),
        (put("trial", {"setups": [f"{n}" for n in range(13)], "kind": "laps"}), "value = "),
        (put("trial", {"setups": ["A", "B"]}), "value = "),
        (put("trial", {"setups": "AB", "kind": "laps", "power": 3}), "value = "),
    ],
)  # fmt: skip
def test_anything_else_is_refused_with_the_reason(line: bytes, because: str) -> None:
    text = why(line)
    assert because in text
    assert text.isprintable()
    assert len(text) < 200


def test_a_refusal_has_the_number_if_there_is_one() -> None:
    assert parse_command(line(kind="mark", id=5, mark="x")).id == 5
    assert parse_command(line(kind="x", id=5)).id == 5
    assert parse_command(line(kind="mark", id=-5, mark="run_end")).id is None


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
    | st.sampled_from([*get_args(Key), *get_args(MarkName), "here", "set", "mark", 10**300, 2**64]),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(
        st.sampled_from(["kind", "id", "key", "value", "mark", "text", "charged_ah"])
        | st.text(max_size=5),
        inner,
        max_size=6,
    ),
    max_leaves=12,
)  # fmt: skip
near_commands = st.fixed_dictionaries(
    {},
    optional={
        "kind": st.sampled_from(["set", "mark"]) | json_values,
        "id": st.integers(0, 2**53) | json_values,
        "key": st.sampled_from(get_args(Key)) | json_values,
        "value": json_values,
        "mark": st.sampled_from(get_args(MarkName)) | json_values,
        "text": json_values,
        "charged_wh": st.floats() | json_values,
    },
)
said_lines = (
    st.binary(max_size=1200)
    | (json_values | near_commands).map(lambda raw: json.dumps(raw).encode())
    | st.integers(0, 1200).map(lambda depth: b'{"kind":' + b"[" * depth)
    | st.integers(0, 1100).map(lambda digits: put("home", [1, 2])[:-4] + b"9" * digits + b"]}")
)


@given(said_lines)
@example(b'{"kind":"set","id":1,"key":"reserve_fraction","value":-0.0}')
def test_any_line_gives_a_sound_command_or_a_plain_refusal(line: bytes) -> None:
    read = parse_command(line)
    if isinstance(read, Refused):
        said_back = refusal_text(read.why, DEFAULT)
        assert said_back
        assert said_back.isprintable()
        assert len(said_back) < 250
        return
    assert 0 <= read.id <= HIGHEST_ID
    assert command_from(json.loads(json.dumps(read.as_dict(), allow_nan=False))) == read
    if isinstance(read, Mark):
        assert read.mark in get_args(MarkName)
        assert read.text.isprintable()
        assert len(read.text) <= 200
    elif read.key in NUMBERS and read.value is not None:
        least, most = NUMBERS[read.key]
        assert isinstance(read.value, float)
        assert least <= read.value <= most
    else:
        assert read.value is None or isinstance(read.value, (str, tuple))
