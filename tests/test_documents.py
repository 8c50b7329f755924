"""Documents: the way in stays short, and what a page points to is there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WAY_IN = ROOT / "DEVELOPERS.md"
WAY_IN_MOST_BYTES = 12_000
TOPS = ("onboard", "groundside", "tests")

PAGES = sorted(
    page
    for pages in (
        ROOT.glob("*.md"),
        *((ROOT / top).rglob("*.md") for top in (*TOPS, "replay_logs")),
    )
    for page in pages
)
ROOM_PAGES = [
    page
    for page in PAGES
    if (page == WAY_IN or page.relative_to(ROOT).parts[0] in TOPS)
    and page != ROOT / "tests" / "data" / "README.md"  # it names files of other projects
]

LINK = re.compile(r"\]\(([^)\s]+)\)")
IN_BACKTICKS = re.compile(r"`([^`\n]+)`")
FILE = re.compile(r"(?<![\w*./-])(?:\.\./)*[\w/]*\w\.(?:py|tcss)\b")
FOLDER = re.compile(rf"(?<![\w./-])(?:{'|'.join(TOPS)})(?:/\w+)*/(?![\w*.])")
NAMES = {
    path.name for top in TOPS for kind in ("py", "tcss") for path in (ROOT / top).rglob(f"*.{kind}")
}


def dead_links(page: Path, text: str) -> list[str]:
    """Return the relative links of a page that lead nowhere."""
    links = [link.partition("#")[0] for link in LINK.findall(text) if "://" not in link]
    return [link for link in links if link and not (page.parent / link).exists()]


def missing_files(page: Path, text: str) -> list[str]:
    """Return the files and folders named in backticks that are not there.

    A path is relative to the root or to the page; a bare name may stand in any room.
    """
    spans = IN_BACKTICKS.findall(text)
    named = [path for span in spans for kind in (FILE, FOLDER) for path in kind.findall(span)]
    return [
        path
        for path in named
        if not any((start / path).exists() for start in (ROOT, page.parent))
        and not ("/" not in path and path in NAMES)
    ]


def test_the_way_in_is_short() -> None:
    assert len(WAY_IN.read_bytes()) <= WAY_IN_MOST_BYTES


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_relative_link_leads_somewhere(page: Path) -> None:
    assert dead_links(page, page.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("page", ROOM_PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_file_named_is_there(page: Path) -> None:
    assert missing_files(page, page.read_text(encoding="utf-8")) == []


def test_what_is_not_there_is_found() -> None:
    page = ROOT / "onboard" / "record" / "README.md"
    assert dead_links(page, "[a](../crew/README.md) [b](https://x/) [c](../no.md#d)") == [
        "../no.md"
    ]
    there = "`recorder.py` `../files/whole_file.py` `onboard/crew/` `*_options.py`"
    text = f"{there} `no.py` `crew/keys.py` `onboard/no/`"
    assert missing_files(page, text) == ["no.py", "crew/keys.py", "onboard/no/"]
