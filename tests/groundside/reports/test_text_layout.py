"""Columns, wrapping and printing of reports."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.reports.text_layout import (
    flowed,
    hanging,
    print_report,
    printable,
    short_names,
    table_lines,
)


@given(st.lists(st.text(max_size=60), max_size=8), st.integers(6, 20))
def test_short_names_fit_and_differ(labels: list[str], width: int) -> None:
    found = short_names(labels, width)
    assert set(found) == set(labels)
    assert len(set(found.values())) == len(found)
    assert all(len(short) <= width for short in found.values())


def test_short_labels_stay_as_they_are() -> None:
    assert short_names(["slim", "broad"]) == {"slim": "slim", "broad": "broad"}
    long = "two blades of carbon, "
    assert list(short_names([long + "cut", long + "whole", "x" * 40 + "cut"]).values()) == [
        "two bla..on, cut", "two bla.., whole", "xxxxxxx..xxxxcut",
    ]  # fmt: skip
    assert list(short_names(["a" * 30, "a" * 31]).values()) == ["a" * 7 + ".." + "a" * 7,
                                                                "a" * 14 + "~2"]  # fmt: skip


@given(st.text())
def test_printable_removes_control_characters(line: str) -> None:
    found = printable(line)
    assert found.isprintable()
    assert len(found) == len(line)
    assert printable(found) == found


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=30), min_size=1, max_size=60))
def test_hanging_lines_fit(words: list[str]) -> None:
    lines = hanging(" ".join(words))
    assert all(len(line) <= 80 for line in lines)
    assert " ".join(lines).split() == words


def test_a_number_stays_with_its_unit() -> None:
    for pad in range(60, 90):
        for unit in ("%", "W", "m/s", "km/h", "kn", "mph", "°C"):
            lines = hanging("x" * pad + f" 12.5 {unit} more")
            assert any(f"12.5 {unit}" in line for line in lines)


pieces = st.lists(st.text("abcdefgh", min_size=1, max_size=30), min_size=1, max_size=12)


@given(pieces, st.integers(10, 60))
def test_flowed_lines_fit_and_lose_nothing(texts: list[str], width: int) -> None:
    lines = list(flowed(texts, width))
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(texts)
    assert list(flowed(texts, None)) == ["   ".join(texts)]


@given(st.lists(st.tuples(*[st.text("abcdefgh", min_size=1, max_size=9)] * 3), min_size=1))
def test_columns_are_as_wide_as_their_longest_cell(rows: list[tuple[str, ...]]) -> None:
    lines = list(table_lines(rows, right={1, 2}))
    ends = [
        sum(max(map(len, column)) + 2 for column in list(zip(*rows, strict=True))[:n]) - 2
        for n in (2, 3)
    ]
    for row, line in zip(rows, lines, strict=True):
        assert line.startswith(row[0])
        assert [
            line[end - len(cell) : end] for end, cell in zip(ends, row[1:], strict=True)
        ] == list(row[1:])


@pytest.mark.parametrize("as_json", [False, True])
def test_a_report_is_printed_as_json_or_as_lines(
    as_json: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = iter(["one", "two"])
    print_report(as_json, lambda: {"wh": 1.5}, lines)
    out = capsys.readouterr().out
    assert out == ('{\n  "wh": 1.5\n}\n' if as_json else "one\ntwo\n")
    assert list(lines) == (["one", "two"] if as_json else [])
