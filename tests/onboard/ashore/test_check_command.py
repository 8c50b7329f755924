"""`wattwake-onboard check` as a process: over UDP, a pty, and beside a running daemon."""

import contextlib
import json
import os
import select
import socket
import subprocess
import sys
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from onboard.command_line import main
from tests.daemon_process import ROOT, Daemon
from tests.free_port import free_port
from tests.patience import PATIENCE_S
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

PROFILE = """
[craft]
name = "skiff"
[battery]
chemistry = "li-ion"
cells = 14
capacity_ah = 23.5
"""


@contextlib.contextmanager
def telemetry(send: Callable[[bytes], object]) -> Iterator[None]:
    """Send as a craft at rest, at ten times the rate, so that a short check gets enough data."""
    stop = threading.Event()

    def play() -> None:
        sender, n = Sender(), 0
        while not stop.wait(0.1):
            n += 1
            for frame in sender.second(100 + n, 58.4, 0.12, 0.03):
                send(frame)

    thread = threading.Thread(target=play)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


def check(*options: str, columns: int = 80) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "onboard", "check", "--seconds", "3", *options],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        env={**os.environ, "COLUMNS": str(columns)},
        check=False,
    )


@pytest.fixture
def options(tmp_path: Path) -> list[str]:
    profile = tmp_path / "craft.toml"
    profile.write_text(PROFILE)
    port = free_port()
    given = ["--profile", str(profile), "--record", str(tmp_path / "sessions")]
    return [*given, "--listen", f"127.0.0.1:{port}"]


def test_over_udp_the_findings_fit_80_columns_and_nothing_is_sent(options: list[str]) -> None:
    port = free_port(socket.SOCK_DGRAM)
    with socket.socket(type=socket.SOCK_DGRAM) as outlet:
        with telemetry(lambda frame: outlet.sendto(frame, ("127.0.0.1", port))):
            ended = check("--link", f"udpin:127.0.0.1:{port}", *options)
        outlet.setblocking(False)
        with contextlib.suppress(ConnectionRefusedError), pytest.raises(BlockingIOError):
            outlet.recv(1)
    lines = ended.stdout.splitlines()
    assert ended.returncode == 0, ended
    assert ended.stderr == ""
    assert "propeller off" in lines[0]
    assert max(map(len, lines)) <= 80
    marks = {line.split()[1]: line.split()[0] for line in lines[2:-1] if line[0] != " "}
    assert marks == {
        "link": "OK",
        "autopilot": "look",  # armed, as the sender says
        "fix": "OK",
        "current": "OK",
        "voltage": "OK",
        "clock": "look",
        "disk": "OK",
        "feed": "OK",
        "pairing": "OK",
        "profile": "OK",
    }


def test_over_a_pty_as_json_and_nothing_is_written_to_it(options: list[str]) -> None:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    device = os.ttyname(theirs)
    with telemetry(lambda frame: os.write(ours, frame)):
        ended = check("--link", device, "--json", *options)
    assert select.select([ours], [], [], 0.0)[0] == []
    os.close(theirs)
    os.close(ours)
    report = json.loads(ended.stdout)
    assert ended.returncode == 0, ended
    assert "propeller off" in ended.stderr
    assert report["source"] == device
    assert report["asked_daemon"] is False
    by_name = {one["name"]: one for one in report["findings"]}
    assert by_name["current"]["text"].startswith("0.12 A at rest")
    assert by_name["voltage"]["text"].startswith("58.4 V, 4.17 V a cell of 14")


@pytest.mark.parametrize("pty", [False, True])
def test_while_a_daemon_has_the_link_its_feed_is_asked(options: list[str], pty: bool) -> None:
    listen = options[options.index("--listen") + 1]
    with contextlib.ExitStack() as stack:
        if pty:
            ours, theirs = os.openpty()
            stack.callback(os.close, ours)
            stack.callback(os.close, theirs)
            tty.setraw(theirs)
            link = os.ttyname(theirs)

            def send(frame: bytes) -> None:
                os.write(ours, frame)
        else:
            port = free_port(socket.SOCK_DGRAM)
            link = f"udpin:127.0.0.1:{port}"
            outlet = stack.enter_context(socket.socket(type=socket.SOCK_DGRAM))

            def send(frame: bytes) -> None:
                with contextlib.suppress(ConnectionRefusedError):
                    outlet.sendto(frame, ("127.0.0.1", port))

        daemon = stack.enter_context(Daemon("--link", link, "--no-record", "--listen", listen))
        stack.enter_context(telemetry(send))
        daemon.snapshot_when(lambda one: one["amps_a"] is not None)
        ended = check("--link", link, "--json", *options)
    report = json.loads(ended.stdout)
    assert ended.returncode == 0, report
    assert report["asked_daemon"] is True
    by_name = {one["name"]: one for one in report["findings"]}
    assert "by the daemon that runs" in by_name["link"]["text"]
    assert by_name["feed"]["text"].startswith("the daemon runs")
    assert by_name["current"]["text"].startswith("0.12 A at rest")


def test_a_silent_link_is_bad_and_wrong_options_are_refused(options: list[str]) -> None:
    ended = check("--link", "udpin:127.0.0.1:0", *options)
    assert ended.returncode == 1
    assert "bad   link" in ended.stdout
    for wrong in (["--link", "nonsense"], ["--profile", "/nosuch.toml"], ["--seconds", "1"]):
        ended = check(*options, *wrong)
        assert ended.returncode == 2, wrong
        assert len(ended.stderr.splitlines()) == 1
        assert "Traceback" not in ended.stderr


@pytest.mark.parametrize("command", ["run", "check", "install-service"])
def test_every_command_has_help_with_an_example(command: str, capsys) -> None:
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    assert "example: " in capsys.readouterr().out
