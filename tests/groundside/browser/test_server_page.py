"""The page's own functions, run by a JavaScript engine if there is one."""

import json
import shutil
import subprocess
from typing import Any

import pytest

from groundside.browser.server import PAGE_FOLDER

NODE = shutil.which("node")
pytestmark = pytest.mark.skipif(NODE is None, reason="needs a JavaScript engine (node)")


def run(module: str, script: str) -> Any:
    """Return a script's value by way of JSON; it sees all that a module of the page exports."""
    source = (PAGE_FOLDER / module).read_text(encoding="utf-8").replace("export ", "")
    program = f"{source}\nconsole.log(JSON.stringify({script}));"
    assert NODE is not None
    done = subprocess.run([NODE, "-e", program], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


SCREENS = "[[390,844],[360,800],[430,932],[320,568]]"


def test_a_phone_keeps_its_letters_when_turned_with_40_columns_and_18_rows() -> None:
    script = f"""{SCREENS}.flatMap((screen) => [1, 2, 3].map((scale) => {{
        const [w, h] = screen;
        const up = likelySize(w, h, scale), lying = likelySize(h, w, scale);
        return [fontSize(w, h, scale) === fontSize(h, w, scale), up.width, lying.height,
            h / up.height];
    }}))"""
    for same, columns, rows, row_px in run("terminal_size.js", script):
        assert same
        assert 40 <= columns <= 45 and rows == 18
        assert 3 * row_px >= 44  # a button of three rows (WCAG 2.2, 2.5.5)


def test_a_laptop_gets_the_wide_screen_and_rows_of_15_px_anywhere() -> None:
    script = """[[1440,900],[1366,657],[1280,720],[2560,1440],[1100,600],[1000,700]].map(
        ([w, h]) => [likelySize(w, h, 1), h / likelySize(w, h, 1).height])"""
    found = run("terminal_size.js", script)
    for size, row_px in found[:4]:
        assert size["width"] >= 120 and size["height"] >= 40 and row_px >= 15
    assert all(row_px >= 15 for _, row_px in found)


@pytest.mark.parametrize(
    ("parts", "bells", "letters"),
    [
        (["\x07"], 1, 0),
        (["\x07\x07"], 2, 0),
        (["ab \x1b[1;31mc\x07"], 1, 3),
        (["\x1b]0;title\x07x"], 0, 1),  # the end of a title
        (["\x1b]0;ti", "tle\x07\x07"], 1, 0),
        (["\x1b]0;title\x1b\\\x07"], 1, 0),  # ended by ST
        (["\x1bPdata\x07x"], 0, 1),
        (["\x1b[", "31m\x07"], 1, 0),
        (["\x1b[3\x071m"], 1, 0),  # a control within a sequence acts at once (ECMA-48)
        (["\x1b(B\x07\x1b7\x1b8x"], 1, 1),
        (["\u2588\u00b0 "], 0, 2),
    ],
)
def test_bells_and_letters_outside_escape_sequences(parts, bells: int, letters: int) -> None:
    script = f"""(() => {{
        const scanner = new OutputScanner();
        return {json.dumps(parts)}.map((text) => scanner.feed(new TextEncoder().encode(text)));
    }})()"""
    found = run("output.js", script)
    assert sum(one["bells"] for one in found) == bells
    assert sum(one["letters"] for one in found) == letters


@pytest.mark.parametrize(
    ("text", "paper"),
    [
        ("\x1b[38;2;1;2;3;48;2;255;255;255m" + "x " * 40, "#ffffff"),
        (
            "\x1b[1;1H\x1b[48;2;0;0;0m" + " " * 60 + "\x1b[2;1H\x1b[48;2;9;9;9m" + "x" * 40,
            "#000000",
        ),
        ("\x1b[48;2;9;9;9m" + "x" * 40, None),  # a bar, less than half of the screen
        ("\x1b[48;2;9;9;9mx\x1b[0m" + "x" * 90, None),
        ("x" * 90, None),
    ],
)
def test_the_page_takes_the_background_of_most_of_the_screen(text: str, paper: str | None) -> None:
    assert run("output.js", f"paperOf(new TextEncoder().encode({json.dumps(text)}), 100)") == paper
