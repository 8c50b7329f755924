"""Power cut: the card is readable as of any moment, and at most the last 2 s are missing.

The card is an ext4 file system in a file. A copy of that file is what a power cut at that moment
would leave: it lacks the data that the kernel still has in memory.
"""

import random
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.daemon_process import Daemon
from tests.faults.faulty_link import background, udp
from tests.faults.numbered_frames import numbered, recorded
from tests.newest import latest_session

pytestmark = pytest.mark.slow

CUTS = 8
MISSING_MOST_S = 2.0


def attempt(*command: str) -> None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        pytest.skip(f"there is no {command[0]}")
    if done.returncode:
        pytest.skip(f"{command[0]} does not work here: {done.stderr.strip()}")


@contextmanager
def mounted(image: Path, place: Path) -> Iterator[Path]:
    place.mkdir(exist_ok=True)
    attempt("mount", "-o", "loop", str(image), str(place))
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def test_a_power_cut_takes_at_most_two_seconds(tmp_path: Path) -> None:
    image, chance = tmp_path / "card.img", random.Random(11)
    image.write_bytes(bytes(12 << 20))
    attempt("mkfs.ext4", "-q", "-F", str(image))
    cuts_s: list[float] = []
    cpu_wait_s: list[float] = []
    with mounted(image, tmp_path / "card") as place:
        daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(place / "sessions"))
        with (
            daemon,
            udp(daemon.port("link udpin")) as send,
            background(numbered(60), send) as sent_s,
        ):
            daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] > 10)
            for n in range(CUTS):
                before_s = daemon.cpu_wait_s()
                time.sleep(chance.uniform(0.8, 2.0))
                cpu_wait_s.append(daemon.cpu_wait_s() - before_s)
                # Taken before the copy: later frames may be in it, but need not.
                cuts_s.append(time.monotonic())
                shutil.copyfile(image, tmp_path / f"cut{n}.img")
    missing_s = []
    for n, cut_s in enumerate(cuts_s):
        with mounted(tmp_path / f"cut{n}.img", tmp_path / "after") as place:
            session = latest_session(place / "sessions")
            assert session is not None, f"cut {n}: the session is not there"
            kept, bad_bytes = recorded(session)
        before = [at_s for at_s in sent_s if at_s <= cut_s]
        missing_s.append(cut_s - before[kept] - cpu_wait_s[n] if kept < len(before) else 0.0)
        print(f"cut {n + 1}: {kept} frames kept, the last {missing_s[-1]:.2f} s missing")
        assert bad_bytes == 0
    assert max(missing_s) <= MISSING_MOST_S
