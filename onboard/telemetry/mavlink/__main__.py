"""Writes the message definitions anew: `python -m onboard.telemetry.mavlink`."""

from pymavlink.dialects.v20 import all as dialect

from onboard.telemetry.mavlink.definitions import ADDED, FILE, HEAD, Definition, as_line


def definitions_text() -> str:
    """Return the text of `definitions.txt`."""
    found = dict(ADDED)
    for number, message in dialect.mavlink_map.items():
        types = dict(zip(message.fieldnames, message.fieldtypes, strict=True))
        lengths = zip(message.ordered_fieldnames, message.array_lengths, strict=True)
        fields = tuple((name, types[name], length) for name, length in lengths)
        found[number] = Definition(message.msgname, message.crc_extra, fields)
    lines = (as_line(number, message) for number, message in sorted(found.items()))
    return "\n".join([HEAD, *lines, ""])


if __name__ == "__main__":
    FILE.write_text(definitions_text(), encoding="ascii")
