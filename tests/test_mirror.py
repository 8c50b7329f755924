"""Unit tests mirror the product's tree: `tests/onboard/x/test_y.py` tests `onboard/x/y.py`."""

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
UNIT_TESTS = sorted(
    path.relative_to(ROOT / "tests")
    for top in ("onboard", "groundside")
    for path in (ROOT / "tests" / top).rglob("test_*.py")
)


def names_in(room: Path) -> set[str]:
    """Return the names that a room's tests may use: its modules', and the room's own."""
    modules = {path.stem for path in (ROOT / room).glob("*.py")} - {"__init__", "__main__"}
    return modules | {room.name}


@pytest.mark.parametrize("path", UNIT_TESTS, ids=str)
def test_a_test_s_path_names_a_module_or_a_room(path: Path) -> None:
    about = path.stem.removeprefix("test_")
    names = names_in(path.parent)
    assert any(about == name or about.startswith(f"{name}_") for name in names), sorted(names)


def test_every_room_is_tested() -> None:
    rooms = {path.parent.relative_to(ROOT) for path in ROOT.glob("onboard/**/__init__.py")}
    rooms |= {path.parent.relative_to(ROOT) for path in ROOT.glob("groundside/**/__init__.py")}
    only_rooms = {room for room in rooms if len(names_in(room)) == 1}
    untested = {
        room for room in rooms - only_rooms if not any((ROOT / "tests" / room).rglob("test_*.py"))
    }
    assert untested == set()
