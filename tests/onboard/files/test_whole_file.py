"""Small files are written atomically, by one writer at a time, and safe from others' tricks."""

import fcntl
import multiprocessing
import os
import stat
import threading
from pathlib import Path

import pytest

from onboard.files.whole_file import write_whole
from tests.patience import PATIENCE_S

SIZE = 20_000


def write_often(path: Path, letter: str) -> None:
    for _ in range(60):
        write_whole(path, letter * SIZE)


@pytest.mark.slow
def test_of_several_concurrent_writers_one_wins_completely(tmp_path: Path) -> None:
    path = tmp_path / "kept.json"
    write_whole(path, "a" * SIZE)
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=write_often, args=(path, letter)) for letter in "abc"]
    for writer in writers:
        writer.start()
    while any(writer.is_alive() for writer in writers):
        text = path.read_text()
        assert len(text) == SIZE and len(set(text)) == 1
    for writer in writers:
        writer.join()
        assert writer.exitcode == 0
    assert list(tmp_path.iterdir()) == [path]


def test_a_symbolic_link_is_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "another's"
    other.write_text("theirs")
    path = tmp_path / "kept.json"
    (tmp_path / "kept.json.new").symlink_to(other)
    write_whole(path, "ours")
    assert other.read_text() == "theirs"
    assert path.read_text() == "ours" and not path.is_symlink()


@pytest.mark.parametrize("umask", [0, 0o777])
def test_leftovers_of_an_earlier_write_do_not_matter(tmp_path: Path, umask: int) -> None:
    path = tmp_path / "kept.json"
    left = tmp_path / "kept.json.new"
    left.write_text("something longer than what is written now")
    left.chmod(0o666)
    before = os.umask(umask)
    try:
        write_whole(path, "ours")
    finally:
        os.umask(before)
    assert path.read_text() == "ours"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_second_writer_waits_for_the_first(tmp_path: Path) -> None:
    path = tmp_path / "kept.json"
    first = os.open(tmp_path / "kept.json.new", os.O_WRONLY | os.O_CREAT, 0o600)
    fcntl.flock(first, fcntl.LOCK_EX)
    os.write(first, b"the first one's")
    second = threading.Thread(target=write_whole, args=(path, "the second one's"))
    second.start()
    second.join(0.1)
    assert second.is_alive()
    (tmp_path / "kept.json.new").replace(path)
    assert path.read_text() == "the first one's"
    os.close(first)
    second.join(PATIENCE_S)
    assert path.read_text() == "the second one's"


def test_a_file_is_synced_before_it_replaces_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, fsync, there = tmp_path / "kept.json", os.fsync, []

    def note(descriptor: int) -> None:
        fsync(descriptor)
        if stat.S_ISREG(os.fstat(descriptor).st_mode):
            there.append((path.read_text(), os.fstat(descriptor).st_size))

    write_whole(path, "old")
    monkeypatch.setattr(os, "fsync", note)
    write_whole(path, "the new one")
    assert there == [("old", len("the new one"))]
    assert path.read_text() == "the new one"
