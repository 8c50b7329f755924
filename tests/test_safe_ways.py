"""Unsafe practices that must not occur: running text as code, unpickling, files open to others."""

import ast
import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.daemon_process import Daemon
from tests.onboard.crew.doors import member, paired_folder
from tests.patience import PATIENCE_S
from tests.small_streams import Sender
from tests.udp_queue import Outlet

ROOT = Path(__file__).parents[1]
FILES = sorted([*(ROOT / "onboard").rglob("*.py"), *(ROOT / "groundside").rglob("*.py")])

NEVER_CALLED = {"eval", "exec", "compile", "__import__"}
NEVER_IMPORTED = {"pickle", "cPickle", "marshal", "shelve", "dill", "yaml", "telnetlib", "code"}
NEVER_PASSED = {"allow_pickle", "shell"}
"""Names of arguments that must not be true."""
RUNS_A_SHELL = {"system", "popen", "getoutput", "getstatusoutput", "create_subprocess_shell"}


def forbidden(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = {alias.name.partition(".")[0] for alias in node.names}
            yield from (f"import {name}" for name in names & NEVER_IMPORTED)
        elif isinstance(node, ast.ImportFrom):
            if (node.module or "").partition(".")[0] in NEVER_IMPORTED:
                yield f"from {node.module}"
        elif isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name) and node.func.id in NEVER_CALLED:
                yield f"{node.func.id}()"
            if isinstance(node.func, ast.Attribute) and node.func.attr in RUNS_A_SHELL:
                yield f".{node.func.attr}()"
            for one in node.keywords:
                false = isinstance(one.value, ast.Constant) and one.value.value is False
                if one.arg in NEVER_PASSED and not false:
                    yield f"{one.arg}="


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_text_is_executed_and_nothing_is_unpickled(path: Path) -> None:
    assert list(forbidden(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "source",
    [
        "eval('1')",
        "import pickle",
        "from marshal import loads",
        "numpy.load(x, allow_pickle=True)",
        "subprocess.run(x, shell=True)",
        "os.system('x')",
    ],
)
def test_forbidden_code_is_detected(source: str) -> None:
    assert list(forbidden(source))


@pytest.mark.slow
def test_all_files_are_private_to_the_owner_whatever_the_umask(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        folder = tmp_path / "rec"
        member(paired_folder(tmp_path))
        profile = tmp_path / "craft.toml"
        profile.write_text('[battery]\nchemistry = "lfp"\ncells = 16\ncapacity_ah = 50\n')
        options = ("--link", "udpin:127.0.0.1:0", "--profile", str(profile))
        with Daemon(*options, "--record", str(folder), "--crew-listen", "127.0.0.1:0") as daemon:
            sender = Sender()
            with Outlet(daemon.port("link udpin")) as outlet:
                for n in range(40):
                    for frame in sender.second(100 + n, 50, 8, 2):
                        outlet.send(frame)
            daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] >= 280)
            with socket.create_connection(
                ("127.0.0.1", daemon.port("feed on")), PATIENCE_S
            ) as viewer:
                viewer.sendall(b'{"kind":"mark","id":1,"mark":"note","text":"../../out"}\n')
                viewer.sendall(
                    b'{"kind":"set","id":2,"key":"setup","value":"../../../../tmp/out"}\n'
                )
                lines = viewer.makefile("rb")
                announced = 0
                while announced < 2:
                    announced += b'"by":true' in next(lines)
                lines.close()
    finally:
        os.umask(before)
    kept = [folder, *folder.rglob("*")]
    names = {path.name for path in kept}
    assert {"telemetry.tlog", "marks.jsonl", "identity.pem", "crew.json", "learned.json"} <= names
    for path in kept:
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == (0o700 if path.is_dir() else 0o600), f"{path}: {mode:o}"
    # No text from outside becomes a file name: nothing lies outside the folder.
    assert {path.name for path in tmp_path.iterdir()} == {"rec", "craft.toml"}
