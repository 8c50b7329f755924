"""Files that reports write."""

from pathlib import Path

from onboard.errors import UsageError
from onboard.files.whole_file import write_whole

PAGES = (".html", ".htm")


def check_page(path: Path) -> None:
    """Refuse a page's file of another type, above all a log given by mistake.

    Raises
    ------
    UsageError
        If its name does not end in .html.
    """
    if path.suffix.lower() not in PAGES:
        raise UsageError(f"--html {path}: expected a name that ends in .html")


def write_report(path: Path, content: str | bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    UsageError
        If it cannot be written.
    """
    try:
        write_whole(path, content)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be written ({problem.strerror})") from None
