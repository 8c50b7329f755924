"""Compressed logs: the same figures, bounded memory, and one line for what cannot be read."""

import gzip
import io
import random
import tracemalloc
import zipfile
import zlib
from pathlib import Path

import pytest

from onboard.errors import LogError
from onboard.telemetry.logs.archives import ALWAYS_BYTES, Unpacked, unpacked_facts
from onboard.telemetry.logs.formats import is_log, open_cursor, open_log
from onboard.telemetry.logs.log_files import LogFacts
from onboard.telemetry.logs.telemetry_log import log_span_us
from tests.onboard.telemetry.logs.onboard_log.made_generations import milliseconds_log
from tests.small_streams import Sender, records


def frames(seconds: int) -> list[bytes]:
    sender = Sender()
    return [frame for n in range(1, seconds + 1) for frame in sender.second(n, 50, 8, 2)]


LOGS = {
    "telemetry": records(frames(200)),
    "raw": b"".join(frames(200)),
    "onboard": milliseconds_log(100) + bytes(200_000),
}


def zipped(**files: bytes) -> bytes:
    into = io.BytesIO()
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name.replace("_", "."), data)
    return into.getvalue()


def saved(tmp_path: Path, name: str, data: bytes) -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


def facts_of(path: Path) -> LogFacts:
    log = open_log(path)
    for _ in log.parts():
        pass
    return log.facts()


@pytest.mark.parametrize("kind", LOGS)
def test_a_compressed_log_is_the_same_log(tmp_path: Path, kind: str) -> None:
    data = LOGS[kind]
    plain = facts_of(saved(tmp_path, "plain", data))
    assert plain.format == kind
    halves = len(data) // 2
    for packed in (
        gzip.compress(data),
        gzip.compress(data[:halves]) + gzip.compress(data[halves:]) + bytes(512),
        zipped(ride_bin=data),
        zipped(readme_txt=b"Mine.", ride_tlog=data),
    ):
        path = saved(tmp_path, "packed", packed)
        assert facts_of(path) == plain
        cursor, length_s = open_cursor(path)
        assert length_s == pytest.approx(plain.duration_s)
        for _ in cursor.upto(length_s / 2):
            pass
        assert cursor.copied().last_s == pytest.approx(length_s / 2, abs=1.0)


def test_a_stored_file_in_a_zip_archive(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.zip", "w") as archive:
        archive.writestr("folder/ride.tlog", LOGS["telemetry"])
    assert facts_of(tmp_path / "x.zip").messages == len(frames(200))
    assert is_log(tmp_path / "x.zip")


def test_bytes_at_any_place(tmp_path: Path) -> None:
    data = random.Random(1).randbytes(300_000)
    path = saved(tmp_path, "x.gz", gzip.compress(data))
    with Unpacked(path) as file:
        for offset in (0, 200_000, 10, 299_999, 70_000):
            file.seek(offset)
            assert file.read(1000) == data[offset : offset + 1000]
        assert file.seek(-5, 2) == 299_995
        assert file.read() == data[-5:]


def test_the_padding_of_a_log_is_found(tmp_path: Path) -> None:
    for data, padding_from in (
        (b"ab" + bytes(200_000), 2),
        (b"ab" * 70_000, 140_000),
        (bytes(150_000), 0),
        (b"a" + b"\xff" * 65_535 + bytes(9), 65_536),
        (b"aaa", 3),
    ):
        path = saved(tmp_path, f"{padding_from}.gz", gzip.compress(data))
        facts = unpacked_facts(path)
        assert (facts.size_bytes, facts.padding_from) == (len(data), padding_from)


def test_only_the_ends_are_needed_for_the_span(tmp_path: Path) -> None:
    plain = saved(tmp_path, "plain", LOGS["telemetry"])
    packed = saved(tmp_path, "packed", gzip.compress(LOGS["telemetry"]))
    assert log_span_us(packed) == log_span_us(plain)


def test_a_cut_archive_gives_what_could_be_read(tmp_path: Path) -> None:
    packed = gzip.compress(LOGS["telemetry"])
    facts = facts_of(saved(tmp_path, "cut.gz", packed[: len(packed) // 2]))
    assert facts.archive_damage == "cut"
    assert 200 < facts.messages < len(frames(200))
    # Its last bytes, the checksum, are missing: all of the log is there.
    facts = facts_of(saved(tmp_path, "tail.gz", packed[:-3]))
    assert (facts.archive_damage, facts.messages) == ("cut", len(frames(200)))


def test_bytes_that_are_no_deflate_end_the_log(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(LOGS["telemetry"]))
    middle = len(packed) // 2
    packed[middle : middle + 400] = b"\xff" * 400
    facts = facts_of(saved(tmp_path, "broken.gz", bytes(packed)))
    assert facts.archive_damage in ("cut", "checksum")
    assert 100 < facts.messages < len(frames(200))


def test_a_wrong_checksum_is_said(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(LOGS["telemetry"]))
    packed[-8] ^= 1
    facts = facts_of(saved(tmp_path, "wrong.gz", bytes(packed)))
    assert (facts.archive_damage, facts.messages) == ("checksum", len(frames(200)))
    archive = bytearray(zipped(ride_tlog=LOGS["telemetry"]))
    archive[archive.index(b"PK\x01\x02") + 16] ^= 1
    facts = facts_of(saved(tmp_path, "wrong.zip", bytes(archive)))
    assert (facts.archive_damage, facts.messages) == ("checksum", len(frames(200)))


def encrypted() -> bytes:
    archive = bytearray(zipped(ride_tlog=LOGS["telemetry"]))
    archive[archive.index(b"PK\x01\x02") + 8] |= 1
    return bytes(archive)


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (zipped(), "an empty zip archive"),
        (zipped(a_tlog=LOGS["telemetry"], b_bin=b"x"), r"2 logs \(a.tlog, b.bin\): unpack it"),
        (zipped(a_txt=b"x", b_txt=b"x"), "2 files, none of them named as a log"),
        (zipped(ride_tlog=LOGS["telemetry"])[:-60], "a damaged zip archive"),
        (encrypted(), "ride.tlog in it is encrypted"),
        (gzip.compress(b"", mtime=0), "an archive with nothing in it"),
        (gzip.compress(b"Went out at nine.\n" * 50, mtime=0), "expected a"),
    ],
)
def test_one_line_for_what_holds_no_log(tmp_path: Path, data: bytes, line: str) -> None:
    path = saved(tmp_path, "x.zip", data)
    with pytest.raises(LogError, match=line) as refused:
        facts_of(path)
    assert str(refused.value).startswith(str(path))
    assert "\n" not in str(refused.value)
    assert not is_log(path)


@pytest.mark.slow
def test_a_bomb_costs_one_line_and_no_memory(tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    stamped = records(frames(3))
    packed = packer.compress(stamped)
    for _ in range(3 * (ALWAYS_BYTES >> 20)):
        packed += packer.compress(bytes(1 << 20))
    path = saved(tmp_path, "bomb.gz", packed + packer.flush())
    assert path.stat().st_size < 1 << 20
    tracemalloc.start()
    try:
        with pytest.raises(LogError, match="unpacks to more than 64 MiB"):
            facts_of(path)
        assert tracemalloc.get_traced_memory()[1] < 60e6
    finally:
        tracemalloc.stop()
