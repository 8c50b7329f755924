"""Only the owner can enter the folders, and those created above them, whatever the umask."""

import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from groundside.connection.crafts import Craft, CraftBook
from groundside.connection.preferences import Preferences
from onboard.crew.keys import make_folder
from onboard.files.private_folder import make_own_folder
from onboard.record.sessions import begin_session


def remember(top: Path) -> None:
    CraftBook(top / "a" / "b" / "crafts.json").remember(
        Craft("skiff", "00" * 32, "token", "crew", ("192.0.2.7",), 27222)
    )


MAKERS: dict[str, Callable[[Path], object]] = {
    "itself": lambda top: make_own_folder(top / "a" / "b"),
    "a session": lambda top: begin_session(top / "a" / "b", 0),
    "the pairing": lambda top: make_folder(top / "a" / "b" / "pairing"),
    "the crafts": remember,
    "preferences": lambda top: Preferences(top / "a" / "b" / "viewer.json").put("theme", "sun"),
}


@pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)
def test_nobody_else_can_enter_created_folders(
    tmp_path: Path, make: Callable[[Path], object]
) -> None:
    before = os.umask(0)
    try:
        make(tmp_path)
    finally:
        os.umask(before)
    assert (tmp_path / "a" / "b").is_dir()
    found = [path for path in tmp_path.rglob("*") if path.is_dir()]
    assert {stat.S_IMODE(path.stat().st_mode) for path in found} == {0o700}


def test_existing_folders_keep_their_mode(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a").chmod(0o755)
    make_own_folder(tmp_path / "a" / "b" / "c")
    make_own_folder(tmp_path / "a")
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o755
