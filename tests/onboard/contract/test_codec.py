"""Records survive JSON unchanged; errors cost a field or the line, but never a viewer."""

import dataclasses
import json
import typing
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.codec import (
    ContractError,
    SchemaError,
    as_line,
    clean,
    from_line,
    plain,
    read,
)
from onboard.contract.figure import Figure, Unknown
from onboard.contract.messages import KINDS, Ack
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot, Trip
from tests.contract_examples import example, records


@pytest.mark.parametrize("kind", KINDS)
def test_every_line_survives_a_round_trip(kind: str) -> None:
    message = example(KINDS[kind])
    assert from_line(as_line(message)) == message
    assert json.loads(as_line(message))["kind"] == kind


@pytest.mark.slow
@settings(max_examples=150)
@given(st.data())
def test_any_record_survives_a_round_trip(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(KINDS)))
    message = data.draw(records(KINDS[kind]))
    assert from_line(as_line(message)) == message


def test_an_unknown_value_is_null_with_its_reason_beside_it() -> None:
    trip = dataclasses.replace(
        example(Trip), energy_wh=Unknown(Reason.POWER_QUIET, source="battery 1", age_s=7.0)
    )
    raw = plain(trip)
    assert raw["energy_wh"] is None
    reason = {"code": "power_quiet", "source": "battery 1", "age_s": 7.0}
    assert raw["why"] == {"energy_wh": reason}
    assert read(Trip, raw) == trip


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_non_finite_value_is_unknown(value: float) -> None:
    trip = dataclasses.replace(example(Trip), moving_s=value)
    assert read(Trip, json.loads(json.dumps(plain(trip)))).moving_s == Unknown(Reason.NOT_FINITE)


WRONG: list[Any] = [None, "12", True, [1], {"low": 1}, 10**400]


@pytest.mark.parametrize("raw", WRONG)
def test_an_invalid_value_becomes_unknown_where_that_is_allowed(raw: Any) -> None:
    whole = plain(example(Trip))
    found = read(Trip, whole | {"energy_wh": raw, "moving_s": raw})
    assert found.energy_wh == found.moving_s == Unknown(Reason.NOT_STATED)
    assert found.distance_m == example(Trip).distance_m
    del whole["energy_wh"]
    assert read(Trip, whole).energy_wh == Unknown(Reason.NOT_STATED)


def test_an_invalid_required_value_rejects_the_line_and_is_named() -> None:
    raw = json.loads(as_line(example(Snapshot)))
    raw["link"]["messages"] = "many"
    with pytest.raises(ContractError, match=r"^link\.messages$"):
        from_line(json.dumps(raw).encode())


@pytest.mark.parametrize(
    "line", [b"", b"[1]", b"{", b'{"no": "kind"}', b"\xff\xfe", b"[" * 5000, b'{"kind": 7}']
)
def test_an_invalid_line_is_rejected(line: bytes) -> None:
    with pytest.raises(ContractError):
        from_line(line)


def test_a_kind_of_a_newer_daemon_is_ignored_and_another_schema_is_named() -> None:
    assert from_line(b'{"kind": "weather", "wind": 3}') is None
    with pytest.raises(SchemaError, match=r"^3$"):
        from_line(b'{"schema": 3, "kind": "hello"}')
    with pytest.raises(SchemaError, match=r"^None$"):
        from_line(b'{"kind": "hello", "craft": "skiff", "rate_hz": 5}')


def test_a_code_of_a_newer_daemon_keeps_its_name() -> None:
    raw = {"code": "whale", "level": "danger", "since_s": 2.0, "distance_m": 30.0}
    alert = read(Alert, raw)
    assert (alert.code, alert.level) == (AlertCode.NEWER, "danger")
    assert alert.values == {"name": "whale"}
    assert read(Unknown, {"code": "asleep"}) == Unknown(Reason.NEWER, name="asleep")


def test_additions_of_a_newer_daemon_are_ignored() -> None:
    raw = json.loads(as_line(example(Snapshot)))
    raw["moon"], raw["trip"]["jumps"] = "full", 3
    assert from_line(json.dumps(raw).encode()) == example(Snapshot)


def test_no_text_controls_a_terminal() -> None:
    assert clean("low\x1b[31m \n battery\x07") == "low [31m battery"
    raw = json.loads(as_line(example(Snapshot)))
    raw["setup"], raw["link"]["source"] = "\x1b[2Jprop", "a\r\nb"
    found = from_line(json.dumps(raw).encode())
    assert isinstance(found, Snapshot)
    assert (found.setup, found.link.source) == ("[2Jprop", "a b")


def test_half_an_interval_is_no_interval() -> None:
    assert read(Figure, {"value": 1, "low": 0, "high": None}) == Figure(1.0)


KEYS = st.sampled_from(["value", "low", "code", "why", "now", "cue", "age_s", "level", "since_s"])
JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=8,
)
FIELDS = sorted(field.name for field in dataclasses.fields(Snapshot))


@pytest.mark.slow
@given(st.dictionaries(st.sampled_from(FIELDS), JSON, max_size=3))
def test_any_json_gives_a_sound_snapshot_or_none(changes: dict[str, Any]) -> None:
    raw = json.loads(as_line(example(Snapshot))) | changes
    try:
        found = from_line(json.dumps(raw).encode())
    except ContractError:
        return
    assert isinstance(found, Snapshot)
    assert from_line(as_line(found)) == found


def test_an_answer_with_an_unknown_command_has_none() -> None:
    raw = json.loads(as_line(example(Ack))) | {"command": {"kind": "set", "key": "colour"}}
    found = from_line(json.dumps(raw).encode())
    assert isinstance(found, Ack)
    assert found.command is None


def test_a_pair_is_a_pair() -> None:
    raw = plain(example(Snapshot)) | {"position_deg": [45.0]}
    assert isinstance(read(Snapshot, raw).position_deg, Unknown)
    assert typing.get_type_hints(Snapshot)["position_deg"] == tuple[float, float] | Unknown
