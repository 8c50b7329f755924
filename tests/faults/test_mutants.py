"""The lists of faults match the code, and the runner detects which faults are caught."""

import re
from pathlib import Path

import pytest

from tests.faults.mutants.rows import ROOT, Mutant, every_list, read
from tests.faults.mutants.trying import Result, copied, run_tests, try_all, try_one

LISTED = [(name, mutant) for name, mutants in every_list().items() for mutant in mutants]


def test_there_are_faults_with_unique_names() -> None:
    names = [mutant.name for _, mutant in LISTED]
    assert names
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    "mutant", [pytest.param(mutant, id=f"{name}: {mutant.name}") for name, mutant in LISTED]
)
def test_a_fault_can_be_applied_and_its_tests_exist(mutant: Mutant) -> None:
    sound = (ROOT / mutant.file).read_text()
    assert sound.count(mutant.old) == 1
    faulty = mutant.put_into(sound)
    assert faulty is not None
    assert faulty != sound
    compile(faulty, mutant.file, "exec")
    assert mutant.tests
    for test in mutant.tests:
        file, *names = test.split("::")
        text = (ROOT / file).read_text()
        for name in names:
            assert re.search(rf"^\s*(def|class) {re.escape(name.split('[')[0])}\b", text, re.M)


def test_a_row_with_a_missing_key_is_refused(tmp_path: Path) -> None:
    (tmp_path / "few.toml").write_text('[[mutant]]\nname = "a"\nfile = "b"\n')
    with pytest.raises(ValueError, match="few"):
        read(tmp_path / "few.toml")


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """Return a tree of one function and its test, beside files that must not be copied."""
    root = tmp_path / "root"
    (root / ".git").mkdir(parents=True)
    (root / "sums.py").write_text("def larger(a, b):\n    return a if a > b else b\n")
    (root / "test_sums.py").write_text(
        "from sums import larger\n\ndef test_larger():\n    assert larger(1, 2) == 2\n"
    )
    return copied(root, tmp_path / "tree")


def mutant(old: str, new: str, test: str = "test_sums.py") -> Mutant:
    return Mutant("one", "sums.py", old, new, (test,))


@pytest.mark.slow
def test_each_result_of_a_fault(tree: Path) -> None:
    sound = (tree / "sums.py").read_text()
    assert not (tree / ".git").exists()
    assert run_tests(tree, ["test_sums.py"]) == 0
    faults = {
        mutant("a > b", "a < b"): Result.CAUGHT,
        mutant("a > b", "a >= b"): Result.NOT_CAUGHT,
        mutant("return a", "return ("): Result.CAUGHT,
        mutant("a >= b", "a > b"): Result.GONE,
        mutant("a", "b"): Result.GONE,
        mutant("a > b", "a < b", "test_other.py"): Result.NO_TESTS,
    }
    assert dict(try_all(tree, faults)) == faults
    assert (tree / "sums.py").read_text() == sound


@pytest.mark.slow
def test_a_test_that_takes_too_long_counts_as_caught_and_is_killed(tree: Path) -> None:
    endless = mutant("return a if a > b else b", "while True: pass")
    assert try_one(tree, endless, patience_s=0.1) is Result.CAUGHT
    assert "while" not in (tree / "sums.py").read_text()
