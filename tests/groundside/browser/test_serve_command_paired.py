"""A browser from elsewhere, from the code on the screen to the record, with real processes."""

import asyncio
import contextlib
import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import aiohttp
import pytest

from groundside.browser.access import COOKIE
from groundside.browser.dashboard_process import CLOSE_REVOKED
from onboard.crew.keys import own_fingerprint
from tests.daemon_process import ROOT, Daemon
from tests.free_port import free_port
from tests.groundside.browser.open_page import NOT_LOGGED_IN, Browser, OpenPage
from tests.groundside.browser.served import children_of
from tests.groundside.dashboard.test_app_live import Browser as Screen
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow

LOGS = ROOT / "replay_logs"
CODE = r"[A-Z2-7]{5}-[A-Z2-7]{5}"


class Machine:
    """A machine on which `serve` runs, with its own folders."""

    def __init__(self, folder: Path, feed: str) -> None:
        self.record, self.port, self.feed = folder / "rec", free_port(), feed
        self.environment = os.environ | {
            "XDG_CONFIG_HOME": str(folder / "config"),
            "XDG_DATA_HOME": str(folder / "data"),
        }
        self.options = ("--record", str(self.record))

    def run(self, module: str, *words: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", module, *words, *self.options],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
            env=self.environment,
        )

    @property
    def command(self) -> list[str]:
        bind = ("--bind", f"0.0.0.0:{self.port}")
        return [sys.executable, "-m", "groundside", "serve", self.feed, *bind, *self.options]

    def code(self, *words: str) -> str:
        bind = ("--bind", f"0.0.0.0:{self.port}")
        done = self.run("groundside", "serve", "--invite", "--json", *bind, *words)
        assert (done.returncode, done.stderr) == (0, "")
        invite = json.loads(done.stdout)
        assert invite["links"][0].endswith(f":{self.port}/pair#{invite['code']}")
        pin = own_fingerprint(self.record / "pairing")
        assert invite["certificate_sha256"] == pin.hex()
        return str(invite["code"])

    @contextlib.contextmanager
    def serving(self) -> Iterator[tuple["subprocess.Popen[str]", OpenPage]]:
        process = subprocess.Popen(
            self.command,
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=self.environment,
        )
        self.output = ""
        try:
            assert process.stdout is not None
            while "to let a browser in:" not in self.output:
                line = process.stdout.readline()
                assert line, self.output
                self.output += line
            yield process, OpenPage(self.port, self.record / "pairing")
        finally:
            process.send_signal(signal.SIGTERM)
            rest, _ = process.communicate(timeout=PATIENCE_S)
            self.output += rest
            assert process.returncode == 0


@contextlib.contextmanager
def board(tmp_path: Path, crew: str = "127.0.0.1:0") -> Iterator[Machine]:
    """Run a craft's daemon on a recorded ride."""
    profile = ("--profile", str(LOGS / "harbour_loop.toml"))
    link = ("--link", f"file:{LOGS / 'harbour_loop.tlog'}")
    crew_feed = ("--crew-listen", crew, "--record", str(tmp_path / "rec"))
    with Daemon(*link, *profile, *crew_feed) as daemon:
        yield Machine(tmp_path, f"127.0.0.1:{daemon.port('feed on')}")


def marks(machine: Machine) -> list[str]:
    (path,) = machine.record.glob("*/marks.jsonl")
    return [str(json.loads(line).get("mark")) for line in path.read_text().splitlines()]


async def end_of(socket: aiohttp.ClientWebSocketResponse) -> aiohttp.WSMessage:
    """Read on, as a browser does; return the last message."""
    while (message := await socket.receive()).type == aiohttp.WSMsgType.BINARY:
        pass
    return message


def secrets_in(pid: int, secrets: tuple[str, ...]) -> bool:
    visible = Path(f"/proc/{pid}/cmdline").read_bytes() + Path(f"/proc/{pid}/environ").read_bytes()
    return any(secret.encode() in visible for secret in secrets)


def test_crew_commands_a_viewer_only_views_and_the_revoked_are_out(tmp_path: Path) -> None:
    async def ride(machine: Machine, process: "subprocess.Popen[str]", page: OpenPage) -> None:
        crews, viewers = machine.code("--name", "old phone"), machine.code("--role", "viewer")
        async with Browser(page) as crew, Browser(page) as viewer:
            assert (await crew.type_code(crews))[0] == 303
            assert (await viewer.type_code(viewers))[0] == 303
            socket = await viewer.open_dashboard()
            viewing = Screen(socket)
            await viewing.sees("Wh/km", "range")
            for keys in ("\r", "r", "7", "p", "\r"):
                await viewing.press(keys)
            marking_socket = await crew.open_dashboard()
            marking = Screen(marking_socket)
            await marking.sees("Wh/km", "range")
            await marking.press("\r")
            await marking.press_until_seen("r", "run started")
            assert marks(machine) == ["run_start"]
            dashboards = children_of(process.pid)
            assert len(dashboards) == 2
            secrets = (crews, viewers, crew.cookie(), viewer.cookie())
            assert not any(secrets_in(pid, secrets) for pid in (process.pid, *dashboards))
            listed = machine.run("onboard", "pair", "--list").stdout
            assert re.search(r"old phone +crew\nbrowser +viewer\n", listed)
            ended = asyncio.create_task(end_of(marking_socket))
            revoke = ("onboard", "pair", "--revoke", "old phone")
            assert (await asyncio.to_thread(machine.run, *revoke)).returncode == 0
            async with asyncio.timeout(PATIENCE_S):
                assert (await ended).data == CLOSE_REVOKED
            status, text, _ = await crew.ask("GET", "/")
            assert status == 403 and NOT_LOGGED_IN in text
            assert (await viewer.ask("GET", "/state"))[0] == 200
            await socket.close()
        for path in pairing_files(machine):
            assert not any(secret in path.read_text() for secret in secrets)

    with board(tmp_path) as machine:
        with machine.serving() as (process, page):
            asyncio.run(ride(machine, process, page))
        assert "old phone is let in as crew" in machine.output
        assert "browser is let in as viewer" in machine.output
        assert not re.search(CODE, machine.output) and COOKIE not in machine.output
        pin = own_fingerprint(machine.record / "pairing").hex(":").upper()
        assert pin in machine.output.replace("\n  ", ":")
        assert marks(machine) == ["run_start"]
        for path in pairing_files(machine):
            assert path.stat().st_mode & 0o077 == 0


def pairing_files(machine: Machine) -> list[Path]:
    return [path for path in (machine.record / "pairing").rglob("*") if path.is_file()]


def test_another_machine_serves_the_craft_it_is_paired_with(tmp_path: Path) -> None:
    async def watch(page: OpenPage, code: str) -> None:
        async with Browser(page) as browser:
            assert (await browser.type_code(code))[0] == 303
            socket = await browser.open_dashboard()
            await Screen(socket).sees("Wh/km", "range", "km/h")
            await socket.close()

    port = free_port()
    with board(tmp_path, f"127.0.0.1:{port}") as craft:
        paired = craft.run("onboard", "pair", "--json", "--crew-listen", f"127.0.0.1:{port}")
        laptop = Machine(tmp_path / "laptop", json.loads(paired.stdout)["text"])
        with laptop.serving() as (_, page):
            asyncio.run(watch(page, laptop.code()))
        assert "made a key of its own" in laptop.output
        # From now on by its name: the pairing text works only once.
        laptop.feed = "demo skiff"
        with laptop.serving() as (_, page):
            asyncio.run(watch(page, laptop.code()))


class Terminal:
    """A terminal in which a command runs."""

    def __init__(self, machine: Machine) -> None:
        self.pid, self.end = pty.fork()
        if self.pid == 0:
            os.chdir(ROOT)
            os.execvpe(machine.command[0], machine.command, machine.environment)
        self.shown = ""

    def shows(self, pattern: str) -> str:
        until_s = time.monotonic() + 20.0
        while not (found := re.search(pattern, self.shown)):
            assert time.monotonic() < until_s, self.shown
            if select.select([self.end], [], [], 0.2)[0]:
                self.shown += os.read(self.end, 65536).decode()
        self.shown = self.shown[found.end() :]
        return found[0]

    def close(self) -> int:
        os.kill(self.pid, signal.SIGINT)
        with contextlib.suppress(OSError):
            while os.read(self.end, 65536):
                pass
        os.close(self.end)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def test_on_a_terminal_the_code_is_shown_and_enter_shows_another(tmp_path: Path) -> None:
    machine = Machine(tmp_path, "127.0.0.1:1")

    async def come_in(code: str) -> int:
        async with Browser(OpenPage(machine.port, machine.record / "pairing")) as browser:
            return (await browser.type_code(code))[0]

    terminal = Terminal(machine)
    try:
        first = terminal.shows(rf"/pair#{CODE}")[-11:]
        assert "█" in terminal.shows("(?s)█.*Enter shows another")
        assert asyncio.run(come_in(first)) == 303
        terminal.shows("browser is let in as crew; Enter shows a code")
        os.write(terminal.end, b"\n")
        second = terminal.shows(rf"/pair#{CODE}")[-11:]
        assert second != first
        assert asyncio.run(come_in(first)) == 403
        assert asyncio.run(come_in(second)) == 303
        terminal.shows("browser-2 is let in as crew")
    finally:
        assert terminal.close() == 0


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("--invite", "--bind", "127.0.0.1"), "needs no code there"),
        (("--invite", "--name", " x"), "1 to 40 printable characters"),
        (("--bind", "0.0.0.0", "--name", "x" * 41), "1 to 40 printable characters"),
        (("--role", "owner"), "invalid choice"),
        (("--role", "viewer"), "a browser on this machine needs none"),
        (("--bind", "0.0.0.0", "--json"), "--invite only"),
        (("--bind", "192.0.2.1:0x"), "expected HOST"),
    ],
)
def test_bad_input_is_a_one_line_error(
    tmp_path: Path, words: tuple[str, ...], problem: str
) -> None:
    done = Machine(tmp_path, "").run("groundside", "serve", "127.0.0.1:1", *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert problem in done.stderr and done.stderr.count("\n") == 1


def test_an_invite_without_a_running_serve_says_so(tmp_path: Path) -> None:
    machine = Machine(tmp_path, "")
    bind = ("--bind", f"0.0.0.0:{machine.port}")
    done = machine.run("groundside", "serve", "--invite", "--role", "viewer", *bind)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"does not answer on port {machine.port} yet" in done.stdout
    assert "look only" in done.stdout and "SHA-256" in done.stdout
