"""Statements in the product's source: each has exactly its row's values, and each row is used."""

import ast
import functools
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

import onboard.contract
from onboard.contract.codes import Code, Statement

ROOT = Path(__file__).parents[3]

BUILT = frozenset({"since_s", "level"})
"""Arguments of an alert besides its values."""

NEVER = frozenset({"newer"})
"""Rows for statements of a newer daemon: made by the codec from a text."""


def _members(kind: type) -> dict[str, type]:
    """Return the contract's subclasses of a type, by name."""
    found = {}
    for module in pkgutil.iter_modules(onboard.contract.__path__):
        if module.name.startswith("__"):
            continue
        whole = importlib.import_module(f"onboard.contract.{module.name}")
        for name, member in inspect.getmembers(whole, inspect.isclass):
            if issubclass(member, kind) and member is not kind:
                found[name] = member
    return found


FAMILIES: dict[str, type[Code]] = _members(Code)
STATEMENTS = _members(Statement)


@dataclass(frozen=True)
class Made:
    """A statement made in the source."""

    where: str
    row: Code | None
    keywords: frozenset[str]
    open: bool
    """Whether values are also passed by `**`."""


@functools.cache
def sources() -> dict[str, ast.Module]:
    paths = [path for room in ("onboard", "groundside") for path in (ROOT / room).rglob("*.py")]
    return {
        str(path.relative_to(ROOT)): ast.parse(path.read_text(encoding="utf-8")) for path in paths
    }


def rows_named(node: ast.AST) -> Iterator[tuple[str, str]]:
    """Return family and row of each `Family.ROW` in a piece of source."""
    for part in ast.walk(node):
        if isinstance(part, ast.Attribute):
            family = getattr(part.value, "id", getattr(part.value, "attr", None))
            if family in FAMILIES and part.attr.isupper():
                yield family, part.attr


def made_in(name: str, tree: ast.Module) -> Iterator[Made]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not node.args:
            continue
        called = getattr(node.func, "id", getattr(node.func, "attr", None))
        if called not in STATEMENTS:
            continue
        for family, row in rows_named(node.args[0]):
            yield Made(
                f"{name}:{node.lineno}",
                FAMILIES[family].__members__.get(row),
                frozenset(one.arg for one in node.keywords if one.arg) - BUILT,
                any(one.arg is None for one in node.keywords),
            )


def faults(name: str, tree: ast.Module) -> list[str]:
    """Return the places where a statement's values differ from its row's."""
    found = []
    for one in made_in(name, tree):
        if one.row is None:
            found.append(f"{one.where}: no such row")
            continue
        names = frozenset(one.row.names)
        right = one.keywords <= names if one.open else one.keywords == names
        if not right:
            found.append(f"{one.where}: {one.row}: {sorted(one.keywords)}, not {sorted(names)}")
    return found


def used_rows(trees: dict[str, ast.Module]) -> set[tuple[str, str]]:
    """Return the rows named in the product outside of `words/`: a sentence does not count."""
    return {
        row
        for name, tree in trees.items()
        if not name.startswith("groundside/words/")
        for row in rows_named(tree)
    }


def test_every_statement_names_the_values_of_its_row() -> None:
    statements = [one for name, tree in sources().items() for one in made_in(name, tree)]
    assert len(statements) > 50
    assert [fault for name, tree in sources().items() for fault in faults(name, tree)] == []


@pytest.mark.parametrize("family", FAMILIES)
def test_every_row_is_used(family: str) -> None:
    used = used_rows(sources())
    rows = [row for row in FAMILIES[family] if row.code not in NEVER]
    assert [row for row in rows if (family, row.name) not in used] == []


@pytest.mark.parametrize("family", FAMILIES)
def test_a_row_has_one_code_and_no_value_twice(family: str) -> None:
    # An enumeration merges two rows with one code.
    assert list(FAMILIES[family].__members__) == [row.name for row in FAMILIES[family]]
    for row in FAMILIES[family]:
        assert row.sentence
        assert row.meaning
        assert len(set(row.names)) == len(row.names)


@pytest.mark.parametrize(
    "source",
    [
        "Unknown(Reason.QUIET)",
        "Unknown(Reason.QUIET, age_s=1.0, source='x')",
        "figure.Unknown(reasons.Reason.NO_FIX, age_s=1.0)",
        "Unknown(Reason.QUIET if late else Reason.NO_FIX, age_s=1.0)",
        "Alert(AlertCode.WEED, 3.0, level='note')",
        "Remark(RemarkCode.SOME_FULL, full_charges=1, **more, left=2)",
        "Unknown(Reason.NOT_A_ROW)",
    ],
)
def test_a_wrong_statement_is_found(source: str) -> None:
    assert len(faults("made.py", ast.parse(source))) == 1


@pytest.mark.parametrize(
    "source",
    [
        "Unknown(Reason.QUIET, age_s=1.0)",
        "Alert(AlertCode.WEED, 3.0, level='note', more_fraction=0.4)",
        "Remark(RemarkCode.SOME_FULL, full_charges=1, **more)",
        "Unknown(code, **values)",
    ],
)
def test_a_right_statement_passes(source: str) -> None:
    assert faults("made.py", ast.parse(source)) == []


def test_a_sentence_does_not_count_as_use() -> None:
    tree = ast.parse("{Reason.QUIET: 'nothing'}")
    assert used_rows({"groundside/words/reasons.py": tree}) == set()
    assert used_rows({"groundside/told.py": tree}) == {("Reason", "QUIET")}
