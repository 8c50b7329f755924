"""The first line at the door: exactly two forms, and nothing else."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.crew.joining import FIRST_LINE_MOST_BYTES, Join, Pair, parse_first

CODE = "0123456789ab"


def test_both_forms_round_trip() -> None:
    for first in (Join("a" * 43), Pair(bytes.fromhex(CODE), "old phone"), Pair(bytes(6), "ä")):
        assert parse_first(first.as_line()) == first


@pytest.mark.parametrize(
    "said",
    [
        {"kind": "join"},
        {"kind": "join", "token": ""},
        {"kind": "join", "token": 1},
        {"kind": "join", "token": None},
        {"kind": "join", "token": ["a"]},
        {"kind": "join", "token": "ä"},
        {"kind": "join", "token": "a" * 101},
        {"kind": "join", "token": "a", "role": "crew"},
        {"kind": "pair", "code": CODE},
        {"kind": "pair", "code": CODE, "name": ""},
        {"kind": "pair", "code": CODE, "name": "x\n"},
        {"kind": "pair", "code": CODE, "name": " x"},
        {"kind": "pair", "code": CODE, "name": "x" * 41},
        {"kind": "pair", "code": CODE, "name": 7},
        {"kind": "pair", "code": CODE[:-1], "name": "x"},
        {"kind": "pair", "code": "zz" * 6, "name": "x"},
        {"kind": "pair", "code": "01 23 45 67 8", "name": "x"},
        {"kind": "pair", "code": CODE, "name": "x", "role": "crew"},
        {"kind": "set", "id": 1, "key": "reserve_fraction", "value": 0},
        {"kind": ["join"], "token": "a"},
        {},
        [],
        "join",
        None,
        1,
    ],
)
def test_anything_else_is_refused(said: object) -> None:
    assert parse_first(json.dumps(said).encode() + b"\n") is None


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"\n",
        b"GET / HTTP/1.1\r\n",
        b'{"kind": "join", "token": "a", "token": "b"}',
        b'{"kind": "join", "token": "\xff"}',
        b'{"kind": "join", "token": "a"}' + b" " * FIRST_LINE_MOST_BYTES,
        b"[" * 500,
    ],
)
def test_malformed_lines_are_refused(line: bytes) -> None:
    assert parse_first(line) is None


@given(st.binary(max_size=600))
def test_no_bytes_break_it(line: bytes) -> None:
    assert parse_first(line) is None
