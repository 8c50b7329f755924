"""Output of the daemon as a real process: each SIGHUP is answered; a dead stdout ends nothing."""

import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.daemon_process import ROOT, Daemon
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow

PACK = "[battery]\nchemistry = 'lfp'\ncells = 8\ncapacity_ah = 36\n"
KEPT = ": keeping the profile in use"


def test_each_sighup_logs_its_outcome(tmp_path: Path) -> None:
    profile = tmp_path / "craft.toml"
    profile.write_text(PACK)
    asked = [
        (PACK.replace("8", "0"), "battery.cells = 0: expected a whole number from 1 to 32" + KEPT),
        (PACK.replace("8", "0"), "battery.cells = 0: expected a whole number from 1 to 32" + KEPT),
        (PACK.replace("36", "1e-300"), "battery.capacity_ah = 1e-300: expected a number from 0.1"),
        (
            PACK.replace("36", "1" * 5000),
            "not valid TOML: too long a number or too deep a list",
        ),
        ("", "it has no [battery], and one is in use: restart to go without" + KEPT),
        (" \n\t\n", "it has no [battery], and one is in use"),
        ("[craft]\nname = 'x'\n", "it has no [battery], and one is in use"),
        (None, "not a regular file: expected TOML" + KEPT),
        (PACK.replace("36", "0.5"), "reloaded; link, record and feed stay as they are"),
        (PACK, "reloaded; link, record and feed stay as they are"),
    ]
    options = ("--profile", str(profile), "--record", str(tmp_path / "records"))
    with Daemon("--link", "udpin:127.0.0.1:0", *options) as daemon:
        assert daemon.process.stderr is not None
        for text, answer in asked:
            profile.unlink()
            if text is None:
                os.mkfifo(profile)
            else:
                profile.write_text(text)
            daemon.process.send_signal(signal.SIGHUP)
            assert select.select([daemon.process.stderr], [], [], 60)[0], answer
            line = daemon.process.stderr.readline()
            assert line.startswith(f"wattwake: {profile}: ")
            assert answer in line
        daemon.snapshot_when(lambda snapshot: snapshot["battery"] is not None)
    assert daemon.stderr == ""  # once


@pytest.mark.parametrize("what", ["stdout on a full card", "stdout closed", "both on a full card"])
def test_a_dead_stdout_ends_nothing(tmp_path: Path, what: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    options = ["--link", "udpin:127.0.0.1:0", "--record", str(tmp_path), "--crew-listen", "off"]
    reads, broken = os.pipe()
    os.close(reads)
    with Path("/dev/full").open("w") as full:
        process = subprocess.Popen(
            [sys.executable, "-m", "onboard", "run", "--listen", f"127.0.0.1:{port}", *options],
            cwd=ROOT,
            stdout=broken if what == "stdout closed" else full,
            stderr=full if what.startswith("both") else subprocess.PIPE,
            text=True,
        )
    os.close(broken)
    try:
        while True:
            assert process.poll() is None, process.communicate()
            try:
                with socket.create_connection(("127.0.0.1", port), PATIENCE_S) as viewer:
                    assert json.loads(viewer.makefile("rb").readline())
                break
            except ConnectionRefusedError:
                time.sleep(0.05)
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=PATIENCE_S)
    finally:
        process.kill()
        process.communicate()
    assert process.returncode == 0
    if errors is not None:
        assert errors.count("wattwake: stdout cannot be written: ") == errors.count("\n") == 1
