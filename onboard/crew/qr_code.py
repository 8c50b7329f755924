"""QR codes for a terminal (ISO/IEC 18004), for a phone's camera."""

import io
import sys


def qr_code(text: str) -> str:
    """Draw a text as a QR code.

    Raises
    ------
    ImportError
        If the library that draws is not installed.
    """
    import segno

    out = io.StringIO()
    segno.make(text, micro=False).terminal(out, compact=True)
    return out.getvalue()


def printable_qr_code(text: str) -> list[str]:
    """Return the lines of a QR code, none if stdout cannot encode its blocks.

    Raises
    ------
    ImportError
        If the library that draws is not installed.
    """
    drawn = qr_code(text)
    try:
        drawn.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return []
    return drawn.splitlines()
