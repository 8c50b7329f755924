"""Run a command in this process, as the command line would."""

import pytest

from groundside.command_line import main


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
