"""Run a command in this process, as the command line would."""

from pathlib import Path

import pytest

from groundside.command_line import main

ROOT = Path(__file__).parents[3]
WITHOUT_MATPLOTLIB = """
import sys
class Blocker:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] == "matplotlib":
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Blocker())
from groundside.command_line import main
"""
"""Code to begin a program with, in which matplotlib is not installed."""


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    """Run a command; return its exit code, its output and its error output."""
    try:
        code = main([*map(str, words)])
    except SystemExit as left:  # how the parser refuses
        code = int(left.code or 0)
    return code, *capsys.readouterr()


def refusal(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """Run a command that must be refused, in one line on stderr; return that line."""
    code, out, err = run(capsys, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    return err
