"""The lists of faults: the text replaced, the fault in its place, the tests that must catch it."""

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path

LISTS = Path(__file__).parent
ROOT = LISTS.parents[2]


@dataclass(frozen=True)
class Mutant:
    """One fault.

    Parameters
    ----------
    name
        What goes wrong.
    file
        File to change, from the root of the tree.
    old, new
        A text that occurs exactly once in that file, and its replacement.
    tests
        Test files, or single tests by their pytest ids.
    """

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]

    def put_into(self, text: str) -> str | None:
        """Return the text with the fault; None if `old` does not occur exactly once."""
        return text.replace(self.old, self.new) if text.count(self.old) == 1 else None


def read(path: Path) -> list[Mutant]:
    """Return the faults of one list.

    Raises
    ------
    ValueError
        If a row has other keys than `Mutant`.
    """
    keys = {field.name for field in fields(Mutant)}
    mutants = []
    for row in tomllib.loads(path.read_text())["mutant"]:
        if row.keys() != keys:
            raise ValueError(f"{path.name}: {row.get('name')!r} has the keys {sorted(row)}")
        mutants.append(Mutant(**{**row, "tests": tuple(row["tests"])}))
    return mutants


def every_list() -> dict[str, list[Mutant]]:
    """Return all faults, by the name of their list."""
    return {path.stem: read(path) for path in sorted(LISTS.glob("*.toml"))}
