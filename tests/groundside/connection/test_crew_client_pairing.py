"""Pairing end to end, as typed by the owner, with real processes on both sides."""

import contextlib
import json
import os
import re
import signal
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from onboard.crew.keys import fingerprint, own_fingerprint
from onboard.crew.members import CrewBook
from tests.daemon_process import ROOT, Daemon
from tests.free_port import free_port
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow


class Scene:
    """A board and a phone, each with its own folders."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.record = ("--record", str(folder / "rec"))
        self.door = ("--crew-listen", f"127.0.0.1:{self.port}")

    def run(self, module: str, *words: str, timeout_s: float = PATIENCE_S):
        return subprocess.run(
            [sys.executable, "-m", module, *words],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=timeout_s,
            check=False,
            env=os.environ | {"XDG_CONFIG_HOME": str(self.folder / "config")},
        )

    def pair(self, *words: str):
        return self.run("onboard", "pair", *self.record, *self.door, *words)

    def text(self, *words: str) -> str:
        pairing = json.loads(self.pair("--json", *words).stdout)
        assert pairing["daemon_answers"] is True
        return str(pairing["text"])

    @contextlib.contextmanager
    def watching(self, *words: str) -> Iterator[list[str]]:
        """Run `watch` until its feed has arrived; yield the lines read."""
        process = subprocess.Popen(
            [sys.executable, "-m", "groundside", "watch", "--plain", *words],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"XDG_CONFIG_HOME": str(self.folder / "config")},
        )
        assert process.stdout is not None
        lines: list[str] = []
        try:
            until_s = time.monotonic() + PATIENCE_S
            while not any("no autopilot heard" in line for line in lines):
                line = process.stdout.readline()
                assert line and time.monotonic() < until_s, lines
                lines.append(line)
            yield lines
        finally:
            process.send_signal(signal.SIGINT)
            process.communicate(timeout=PATIENCE_S)


def served_key(port: int) -> bytes | None:
    """Return the fingerprint of the certificate at a port, None while it is closed."""
    with contextlib.suppress(OSError):
        return fingerprint(
            ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate(("127.0.0.1", port)))
        )
    return None


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    there = Scene(tmp_path)
    with Daemon("--link", "udpin:127.0.0.1:0", *there.record, *there.door):
        yield there


def test_pair_watch_revoke(scene: Scene) -> None:
    text = scene.text("--name", "phone")
    with scene.watching(text) as lines:
        assert "paired with craft: from now on `watch` finds it by itself" in lines[0]
    with scene.watching(f"127.0.0.1:{scene.port}"):
        pass
    with scene.watching("craft"):
        pass
    again = scene.run("groundside", "watch", "--plain", text)
    assert (again.returncode, again.stdout) == (2, "")
    assert "used, revoked or has lapsed" in again.stderr and again.stderr.count("\n") == 1
    listed = json.loads(scene.pair("--list", "--json").stdout)
    assert listed["viewers"] == [{"name": "phone", "role": "crew"}]
    assert scene.pair("--revoke", "phone").returncode == 0
    refused = scene.run("groundside", "watch", "--plain", "craft")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "does not let this machine in" in refused.stderr and refused.stderr.count("\n") == 1


def test_another_key_at_the_same_address_is_a_one_line_error(scene: Scene) -> None:
    with scene.watching(scene.text()):
        pass
    (scene.folder / "rec" / "pairing" / "identity.pem").unlink()
    assert scene.pair("--json").returncode == 0
    own, until_s = own_fingerprint(scene.folder / "rec" / "pairing"), time.monotonic() + PATIENCE_S
    while served_key(scene.port) != own:  # it checks for a new key now and then
        assert time.monotonic() < until_s
        time.sleep(0.05)
    refused = scene.run("groundside", "watch", "--plain", "craft")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "is not craft: its key is another" in refused.stderr and refused.stderr.count("\n") == 1


def test_what_pair_prints(scene: Scene) -> None:
    result = scene.pair("--role", "viewer")
    assert (result.returncode, result.stderr) == (0, "")
    assert f"at 127.0.0.1:{scene.port}" in result.stdout
    assert re.search(r"watch ([A-Z2-7]{5}-){9}[A-Z2-7]{5}\n", result.stdout)
    assert "look only" in result.stdout and "█" in result.stdout
    assert "does not answer" not in result.stdout
    assert "viewer, not used yet" in scene.pair("--list").stdout


def test_a_pairing_text_without_a_name_can_be_revoked(scene: Scene) -> None:
    nameless = ["(a pairing text)"]
    scene.pair("--json")
    scene.pair("--json")
    scene.pair("--json", "--name", "phone")
    book = CrewBook(scene.folder / "rec" / "pairing")
    redeemed = book.redeem(book.invite("crew"), *nameless)
    assert redeemed is not None
    assert scene.pair("--revoke", *nameless).returncode == 0
    assert [one.name for one in book.waiting()] == ["phone"]
    assert book.read().members == ()
    again = scene.pair("--revoke", *nameless)
    assert again.returncode == 2 and again.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("pair", "--revoke", "nobody"), "nobody of that name is paired: known: nobody"),
        (("pair", "--name", "x" * 41), "1 to 40 printable characters"),
        (("pair", "--role", "owner"), "invalid choice"),
        (("pair", "--crew-listen", "off"), "nobody can come in"),
        (("pair", "--list", "--revoke", "x"), "not allowed with"),
        (("run", "--listen", "0.0.0.0:27220"), "first run wattwake-onboard pair"),
        (("run", "--listen", "192.0.2.7:4000"), "first run wattwake-onboard pair"),
        (("run", "--crew-listen", "27222"), "expected HOST:PORT"),
    ],
)
def test_bad_input_is_a_one_line_error(
    tmp_path: Path, words: tuple[str, ...], problem: str
) -> None:
    record = ("--record", str(tmp_path / "rec"))
    result = Scene(tmp_path).run("onboard", *words, *record)
    assert (result.returncode, result.stdout) == (2, "")
    assert problem in result.stderr and result.stderr.count("\n") == 1
    assert not (tmp_path / "rec" / "pairing").exists()


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("192.0.2.9",), "this machine is not paired with it"),
        (("AAAAA-" * 10,), "a letter is wrong or missing"),
        (("--forget", "skiff"), "no craft of that name: known: none"),
    ],
)
def test_bad_input_of_the_viewer_is_a_one_line_error(
    tmp_path: Path, words: tuple[str, ...], problem: str
) -> None:
    result = Scene(tmp_path).run("groundside", "watch", "--plain", *words)
    assert (result.returncode, result.stdout) == (2, "")
    assert problem in result.stderr and result.stderr.count("\n") == 1


def test_a_missing_library_is_named_with_how_to_install_it(tmp_path: Path) -> None:
    code = (
        "import sys; sys.modules['cryptography'] = None\n"
        "from onboard.command_line import main;"
        f" sys.exit(main(['pair', '--record', '{tmp_path}/r']))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 2
    assert "pip install 'wattwake[pair]'" in result.stderr and result.stderr.count("\n") == 1
