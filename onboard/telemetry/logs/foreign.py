"""What a file that is no log seems to be, by its first bytes."""

FORMAT_LINE = b"FMT, "
"""Beginning of each line of the text form of an on-board log that describes a record."""

SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG", "a PNG picture"),
    (b"%PDF", "a PDF document"),
    (b"\xfd7zXZ", "an xz archive (unpack it first)"),
    (b"BZh", "a bzip2 archive (unpack it first)"),
    (b"7z\xbc\xaf", "a 7z archive (unpack it first)"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive (unpack it first)"),
    (b"SQLite format 3", "an SQLite database"),
    (b"<?xml", "an XML file, such as a GPS track"),
    (b"{", "a JSON file"),
)
"""First bytes and what they mean; from the published descriptions of these formats, from memory."""


def seems_to_be(head: bytes) -> str:
    """Return what a file that begins with these bytes seems to be, empty if that is not known.

    Examples
    --------
    >>> seems_to_be(b"%PDF-1.7 ...")
    'a PDF document'
    """
    for begin, what in SIGNATURES:
        if head.startswith(begin):
            return what
    if head.startswith(FORMAT_LINE) or b"\n" + FORMAT_LINE in head:
        return "the text form of an on-board log (give the binary log that it was made from)"
    if head and not head.translate(None, _TEXT):
        return "a text file"
    if head and not head.strip(head[:1]):
        return "one byte repeated, as on a card never written to"
    return ""


_TEXT = bytes({7, 8, 9, 10, 12, 13, 27} | set(range(32, 256)))
"""Bytes of a text in any common encoding."""
