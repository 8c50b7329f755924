"""Compressed logs: a gzip file, or a zip archive with one log in it, read as a stream.

Nothing is unpacked to disk or as a whole into memory, and going back means unpacking again from the
start. An archive that was cut off gives what could be read. Formats: RFC 1951 (deflate), RFC 1952
(gzip); the list of a zip archive's files is read by the standard library.
"""

import functools
import io
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from onboard.dataclass import dataclass
from onboard.errors import LogError

PIECE_BYTES = 1 << 16
"""Bytes to unpack at a time."""

TIMES_MOST = 200
"""Largest size of a log as a multiple of its archive's. A log shrinks to a half or a fifth, one
filled up with zeros on its card to a hundredth; deflate cannot do better than a thousandth, which
is what an archive made to fill a disk comes near. Common practice, no source."""

ALWAYS_BYTES = 1 << 26
"""Size up to which any log is unpacked [bytes]: small enough for any board. Common practice."""

LOG_SUFFIXES = (".tlog", ".bin", ".log", ".raw", ".mavlink")
"""Names by which a log is found among other files in a zip archive. Common practice."""

_GZIP, _DEFLATE = b"\x1f\x8b", 8
_HAS_CHECKSUM, _HAS_EXTRA, _HAS_NAME, _HAS_COMMENT = 2, 4, 8, 16
"""Flags of a gzip header (RFC 1952, 2.3.1)."""

_RAW_DEFLATE = -15
_ENCRYPTED = 1
"""Flag of a file in a zip archive."""


@dataclass(frozen=True)
class UnpackedFacts:
    """Facts of an archive that has been unpacked to its end.

    Parameters
    ----------
    size_bytes
        Size of the log in it.
    padding_from
        Offset of the equal bytes at its end; its size if the last two differ.
    damage
        `cut` if it cannot be unpacked further, `checksum` if that is wrong, else empty.
    """

    size_bytes: int
    padding_from: int
    damage: str


class _Source:
    """Bytes of a file with a few put back."""

    def __init__(self, file: BinaryIO, most_bytes: int | None = None) -> None:
        self._file, self._left, self._back = file, most_bytes, b""

    def put_back(self, data: bytes) -> None:
        self._back = data + self._back

    def read(self, count: int) -> bytes:
        if not self._back:
            wanted = PIECE_BYTES if self._left is None else min(PIECE_BYTES, self._left)
            self._back = self._file.read(wanted)
            if self._left is not None:
                self._left -= len(self._back)
        data, self._back = self._back[:count], self._back[count:]
        return data

    def exactly(self, count: int) -> bytes:
        """Return so many bytes, fewer at the end."""
        data = b""
        while len(data) < count and (part := self.read(count - len(data))):
            data += part
        return data

    def text(self) -> bytes:
        """Return the bytes up to a zero, which is skipped; at most some thousand."""
        data = b""
        while (one := self.read(1)) not in (b"", b"\0") and len(data) < 1 << 12:
            data += one
        return data


class _Unpacking:
    """One passage through an archive; iterate over it once."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path, self._file = path, file
        self.damage = ""
        self._most_bytes = max(ALWAYS_BYTES, TIMES_MOST * path.stat().st_size)

    def pieces(self) -> Iterator[bytes]:
        """Yield what is unpacked, piece by piece."""
        begins_gzip = self._file.read(len(_GZIP)) == _GZIP
        self._file.seek(0)
        size_bytes = 0
        for piece in self._gzip() if begins_gzip else self._zip():
            size_bytes += len(piece)
            if size_bytes > self._most_bytes:
                raise LogError(
                    f"{self._path}: unpacks to more than {self._most_bytes >> 20} MiB, "
                    f"{TIMES_MOST} times its size or more: not a log"
                )
            yield piece

    def _gzip(self) -> Iterator[bytes]:
        source = _Source(self._file)
        while (header := source.exactly(10))[:3] == _GZIP + bytes([_DEFLATE]):
            flags = header[3] if len(header) == 10 else 0
            if flags & _HAS_EXTRA:
                source.exactly(int.from_bytes(source.exactly(2), "little"))
            for flag in (_HAS_NAME, _HAS_COMMENT):
                if flags & flag:
                    source.text()
            if flags & _HAS_CHECKSUM:
                source.exactly(2)
            checksum = yield from self._inflated(source)
            if checksum is None:
                return
            stated = source.exactly(8)
            if len(stated) < 8:
                self.damage = "cut"
                return
            if int.from_bytes(stated[:4], "little") != checksum:
                self.damage = "checksum"

    def _zip(self) -> Iterator[bytes]:
        member = chosen_member(self._path)
        self._file.seek(member.header_offset)
        header = self._file.read(30)
        self._file.seek(
            int.from_bytes(header[26:28], "little") + int.from_bytes(header[28:30], "little"), 1
        )
        source = _Source(self._file, member.compress_size)
        if member.compress_type == zipfile.ZIP_DEFLATED:
            checksum = yield from self._inflated(source)
        else:
            checksum = 0
            while data := source.read(PIECE_BYTES):
                checksum = zlib.crc32(data, checksum)
                yield data
        if checksum is not None and checksum != member.CRC:
            self.damage = "checksum"

    def _inflated(self, source: _Source) -> Any:
        """Yield what a deflate stream holds; return its CRC-32, None if it is cut or damaged."""
        unpacker, checksum = zlib.decompressobj(_RAW_DEFLATE), 0
        while not unpacker.eof:
            packed = unpacker.unconsumed_tail or source.read(PIECE_BYTES)
            try:
                data = unpacker.decompress(packed, PIECE_BYTES) if packed else unpacker.flush()
            except zlib.error:
                self.damage = "cut"
                return None
            checksum = zlib.crc32(data, checksum)
            yield data
            if not packed and not unpacker.eof:
                self.damage = "cut"
                return None
        source.put_back(unpacker.unused_data)
        return checksum


def chosen_member(path: Path) -> zipfile.ZipInfo:
    """Return the one log in a zip archive.

    Raises
    ------
    LogError
        If there is none, or more than one, or it cannot be unpacked.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            files = [one for one in archive.infolist() if not one.is_dir() and one.file_size]
    except (zipfile.BadZipFile, NotImplementedError):
        raise LogError(
            f"{path}: a damaged zip archive: the list of files at its end is missing or broken"
        ) from None
    if not files:
        raise LogError(f"{path}: an empty zip archive: expected one log in it")
    logs = [one for one in files if one.filename.lower().endswith(LOG_SUFFIXES)]
    if len(logs) != 1 and len(files) > 1:
        names = ", ".join(Path(one.filename).name for one in (logs or files)[:3])
        more = ", ..." if len(logs or files) > 3 else ""
        what = f"{len(logs)} logs" if logs else f"{len(files)} files, none of them named as a log"
        raise LogError(f"{path}: a zip archive of {what} ({names}{more}): unpack it, give each log")
    member = (logs or files)[0]
    if member.flag_bits & _ENCRYPTED:
        raise LogError(f"{path}: {member.filename} in it is encrypted: unpack it first")
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise LogError(f"{path}: packed in a way other than deflate: unpack it first")
    return member


def inner_name(path: Path) -> str:
    """Return the name of the log in an archive: of a gzip file, its own without the ending."""
    return chosen_member(path).filename if path.suffix.lower() == ".zip" else path.stem


class Unpacked(io.RawIOBase):
    """The log in an archive, as an open file.

    Parameters
    ----------
    path
        The archive.

    Raises
    ------
    LogError
        Here and later: if it holds no log, or unpacks to far too much.
    """

    def __init__(self, path: Path) -> None:
        super().__init__()
        self._path = path
        self._file = path.open("rb")
        self._begin()
        self._at = 0
        """Place of the next byte to return; the unpacked ones may be elsewhere."""

    def _begin(self) -> None:
        self._file.seek(0)
        self._pieces = _Unpacking(self._path, self._file).pieces()
        self._piece, self._piece_from = b"", 0

    @property
    def facts(self) -> UnpackedFacts:
        """Facts of the whole; reads all of it if that has not been done lately."""
        return unpacked_facts(self._path)

    @property
    def padding_from(self) -> int:
        """Offset of the equal bytes at the end."""
        return self.facts.padding_from

    @property
    def packed_bytes(self) -> int:
        """Bytes of the archive read so far."""
        return self._file.tell()

    def readable(self) -> bool:
        """Return whether it can be read: always."""
        return True

    def seekable(self) -> bool:
        """Return whether it can be read from anywhere: always, at a price."""
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to an offset from the start or the end; nothing is read before it is needed."""
        self._at = offset + (self.facts.size_bytes if whence == io.SEEK_END else 0)
        return self._at

    def tell(self) -> int:
        """Return the place of the next byte."""
        return self._at

    def readinto(self, into: Any, /) -> int:
        """Read the next bytes into a buffer; return their number, 0 at the end only."""
        if self._at < self._piece_from:
            self._begin()
        view = memoryview(into).cast("B")
        filled = 0
        while filled < len(view):
            here = self._at - self._piece_from
            if here >= len(self._piece):
                piece = next(self._pieces, None)
                if piece is None:
                    break
                self._piece_from += len(self._piece)
                self._piece = piece
                continue
            part = self._piece[here : here + len(view) - filled]
            view[filled : filled + len(part)] = part
            filled += len(part)
            self._at += len(part)
        return filled

    def close(self) -> None:
        """Close the archive."""
        self._file.close()
        super().close()


def unpacked_facts(path: Path) -> UnpackedFacts:
    """Return the facts of an archive, unpacking it once unless it has changed."""
    state = path.stat()
    return _facts(path, state.st_size, state.st_mtime_ns)


@functools.lru_cache(maxsize=16)
def _facts(path: Path, _size_bytes: int, _modified_ns: int) -> UnpackedFacts:
    size_bytes = padding_from = 0
    last = b""
    with path.open("rb") as file:
        unpacking = _Unpacking(path, file)
        for piece in unpacking.pieces():
            if not piece:
                continue
            differing = len(piece.rstrip(piece[-1:]))
            if differing or piece[-1:] != last:
                padding_from = size_bytes + differing
            last = piece[-1:]
            size_bytes += len(piece)
    if last not in (b"\x00", b"\xff"):
        padding_from = size_bytes
    return UnpackedFacts(size_bytes, padding_from, unpacking.damage)
