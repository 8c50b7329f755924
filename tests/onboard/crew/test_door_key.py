"""The door uses the key currently in its file, or none."""

from pathlib import Path

from onboard.crew.door import CrewDoor, DoorSettings
from onboard.crew.keys import identity_path, make_identity
from onboard.feed.server import FeedServer


def test_a_damaged_key_is_dropped_and_a_new_one_loaded(tmp_path: Path) -> None:
    folder = tmp_path / "pairing"
    make_identity(folder)
    door = CrewDoor(DoorSettings("127.0.0.1", 0, folder, "skiff"), FeedServer())
    door.load_key()
    first = door.context
    assert first is not None
    door.load_key()
    assert door.context is first
    path = identity_path(folder)
    whole = path.read_text()
    path.unlink()
    path.write_text(whole.replace("A", "B"))
    door.load_key()
    assert door.context is None
    path.unlink()
    make_identity(folder)
    door.load_key()
    assert door.context not in (None, first)
