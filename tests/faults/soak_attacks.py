"""Interference by people and programs: with record, profile and feed, and by a second daemon."""

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

from tests.faults.soak_daemon import ROOT, command
from tests.faults.soak_faults import Fault
from tests.faults.soak_record import TAKEN, record_files
from tests.faults.soak_run import PROFILE, Soak

REPORTED_WITHIN_S = 4.0
ANSWERED_WITHIN_S = 8.0
SECOND_ENDS_WITHIN_S = 20.0
HOSTILE_MOST = 12

PROFILES = {
    "good": PROFILE.format(reserve=0.25),
    "broken": "[battery\ncells = ",
    "empty": "",
    "digits": PROFILE.format(reserve=0.2) + "cutoff_v = 4" + "2" * 5000 + "\n",
    "tiny": PROFILE.format(reserve=0.2).replace("= 20.0", "= 1e-300"),
}


def newest_record(soak: Soak) -> Path | None:
    """Return the file being written; None if its name is not a record's."""
    found = record_files(soak.record)
    newest = max(found, key=lambda path: path.stat().st_mtime_ns, default=None)
    return newest if newest is not None and newest.suffix == ".tlog" else None


def record(how: str) -> Fault:
    def attack(soak: Soak) -> str | None:
        path = newest_record(soak)
        if path is None or soak.card.full_s is not None or soak.run is None:
            return None
        begun_s, viewer = time.monotonic(), soak.run.viewer
        logged = len(soak.run.stderr())
        if how in ("removed", "truncated"):
            taken = soak.folder / TAKEN
            taken.mkdir(exist_ok=True)
            shutil.copyfile(path, taken / f"{len(list(taken.iterdir()))}.tlog")
            soak.judge.allow(f"a record was {how}", begun_s - 1.5, begun_s + 3.5)
        if how == "removed":
            path.unlink()
        elif how == "truncated":
            soak.judge.spoilt.add(str(path))
            os.truncate(path, int(path.stat().st_size * soak.chance.random()))
        else:
            path.rename(path.with_name(f"{path.name}.moved"))
        if how == "replaced":
            soak.chance.choice((Path.mkdir, os.mkfifo, lambda p: p.symlink_to("nowhere")))(path)
        # It is missing from the trip, too, once that is folded again.
        soak.judge.taken, soak.judge.taken_run = True, soak.run.number

        def reported() -> bool:
            alerts = viewer.alerts if viewer is not None else []
            return any(at_s >= begun_s and "record" in code for at_s, code in list(alerts)) or (
                "ecord" in soak.run.stderr()[logged:] if soak.run is not None else False
            )

        while not reported() and time.monotonic() < begun_s + REPORTED_WITHIN_S:
            soak.wait(0.1)
        if not reported():
            soak.score.fail(
                "record not watched", f"run {soak.run.number}: {how}, and nothing reported"
            )
        return f"{path.parent.name}, {'reported' if reported() else 'nothing reported'}"

    return attack


def hup(kind: str) -> Fault:
    def reload(soak: Soak) -> str | None:
        run = soak.run
        if run is None or not run.running():
            return None
        soak.write_profile(PROFILES[kind])
        # What was removed from the record is now missing from the trip, too.
        soak.judge.taken_run = min(soak.judge.taken_run, run.number - 1)
        logged = len(run.stderr())
        run.process.send_signal(signal.SIGHUP)
        until_s = time.monotonic() + ANSWERED_WITHIN_S
        name = soak.options.profile.name
        while not (answer := _answers(run.stderr()[logged:], name)) and time.monotonic() < until_s:
            soak.wait(0.1)
        if not answer:
            soak.score.fail("SIGHUP without an answer", f"run {run.number}: a profile {kind}")
        if kind in ("empty", "tiny") and run.viewer is not None:
            soak.wait(4.0)
            last = run.viewer.last
            if kind == "empty" and last is not None and last["battery"] is None:
                soak.score.fail("profile", f"run {run.number}: an empty one drops the battery")
        if kind != "good":
            soak.write_profile()
            if kind in ("empty", "tiny") and run.running():
                run.process.send_signal(signal.SIGHUP)
        return f"{answer[0][:100]!r}" if answer else "no answer"

    return reload


def _answers(log: str, name: str) -> list[str]:
    """Return the log's lines on the profile; lines of a traceback begin with a space."""
    lines = [line for line in log.splitlines() if not line.startswith(" ")]
    return [line for line in lines if name in line or "profile" in line]


def viewer(kind: str) -> Fault:
    def attack(soak: Soak) -> str | None:
        if soak.run is None or soak.run.port is None:
            return None
        try:
            one = socket.create_connection(("127.0.0.1", soak.run.port), 5)
        except OSError:
            return None
        soak.hostile.callback(one.close)
        one.settimeout(0.2)

        def pour() -> None:
            with contextlib.suppress(OSError):
                for _ in range(50):
                    one.sendall(DATA[kind])
                    soak.wait(0.02)

        if kind == "half_open":
            one.shutdown(socket.SHUT_WR)
        elif kind != "never_reads":
            soak.meanwhile(f"viewer_{kind}", pour)
        return "one more"

    return attack


DATA = {
    "junk": bytes(range(1, 256)) * 16 + b"\n",
    "long_lines": b"x" * 65536,
    "commands": b"".join(
        json.dumps({"kind": "mark", "id": n, "mark": "note", "text": "again"}).encode() + b"\n"
        for n in range(100)
    ),
}


def second_daemon(soak: Soak) -> str:
    """Start another daemon on the same records, which must be refused and touch nothing."""
    second = subprocess.Popen(
        command(soak.record, "udpin:127.0.0.1:0", soak.options.profile),
        cwd=ROOT,
        env=soak.clock.environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        _, stderr = second.communicate(timeout=SECOND_ENDS_WITHIN_S)
        lines = stderr.strip().splitlines()
        refused = second.returncode == 2 and len(lines) == 1
        detail = f"code {second.returncode}, {len(lines)} lines: {stderr.strip()[:120]}"
    except subprocess.TimeoutExpired:
        refused, detail = False, "it runs beside the first"
        second.terminate()
        try:
            second.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            second.kill()
            second.communicate()
    except BaseException:
        second.kill()
        raise
    if not refused:
        soak.score.fail("second daemon", detail)
    return detail


ATTACKS: dict[str, tuple[Fault, float]] = {
    **{
        f"record_{how}": (record(how), 0.6)
        for how in ("renamed", "removed", "truncated", "replaced")
    },
    **{f"hup_{kind}": (hup(kind), 0.6) for kind in PROFILES},
    **{
        f"viewer_{kind}": (viewer(kind), 0.8)
        for kind in ("never_reads", "junk", "long_lines", "commands", "half_open")
    },
    "second_daemon": (second_daemon, 1.0),
}
