"""No viewer can reach the autopilot, neither by the code nor in the bytes sent.

Tested in two ways: nothing behind the feed, the door and `apply_command` imports anything that can
write to a link; and a daemon sends the same bytes with a viewer that sends every possible command.
"""

import ast
import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import pytest

import onboard.daemon.pipeline as pipeline_module
from onboard.contract.commands import Key, MarkName
from onboard.crew import door as door_module
from onboard.crew.door import DoorSettings
from onboard.daemon.pipeline import Pipeline
from onboard.daemon.run_settings import Settings
from onboard.profile import Battery, Profile
from onboard.telemetry.link.base import Piece, Source
from onboard.telemetry.link.stamp_clock import StampClock
from tests.onboard.crew.doors import Viewer, member, paired_folder
from tests.small_streams import Sender

ROOT = Path(__file__).parents[3]
CRAFT = ("192.0.2.1", 14550)

CAN_SEND = (
    "onboard.telemetry.link",
    "onboard.telemetry.link.requests",
    "onboard.telemetry.mavlink.packing",
    "onboard.telemetry.mavlink.signing",
    "onboard.telemetry.link.link_reader",
    "onboard.daemon.pipeline",
    "onboard.daemon.service",
    "serial",
    "pymavlink.mavutil",
)
SAYS = {
    "target_distance_m": 5000.0,
    "target_speed_mps": 2.0,
    "target_power_w": 300.0,
    "home": [45.0, -30.0],
    "setup": "two blades",
    "trial": {"setups": ["two blades", "three"], "kind": "laps"},
    "reserve_fraction": 0.3,
}


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def file_of(module: str) -> Path | None:
    place = ROOT / Path(*module.split("."))
    for path in (place.with_suffix(".py"), place / "__init__.py"):
        if path.is_file():
            return path
    return None


def everything_behind(start: list[Path]) -> dict[str, Path]:
    """Return all modules that these files import, directly or not."""
    found: dict[str, Path] = {}
    due = list(start)
    while due:
        path = due.pop()
        for module in imported(path):
            if module not in found:
                found[module] = path
                if module.startswith("onboard") and (there := file_of(module)):
                    due.append(there)
    return found


def test_nothing_behind_the_feed_imports_code_that_can_send() -> None:
    start = [
        *(ROOT / "onboard/feed").glob("*.py"),
        *(ROOT / "onboard/crew").glob("*.py"),
        ROOT / "onboard/ride/commands.py",
    ]
    assert len(start) > 15
    found = everything_behind(start)
    assert "onboard.ride.ride" in found  # imports are followed
    for module, path in found.items():
        assert not any(module == one or module.startswith(f"{one}.") for one in CAN_SEND), (
            f"{path.relative_to(ROOT)} imports {module}"
        )


def test_forbidden_code_is_detected() -> None:
    found = everything_behind([ROOT / "onboard/daemon/service.py"])
    assert all(any(one in module for module in found) for one in CAN_SEND[:5])


class Reader:
    """A link reader with a second of telemetry at each fifth call; records what is sent."""

    problem, dropped_bytes, received_s, answered = None, 0, None, None

    def __init__(self) -> None:
        self.sender, self.turn, self.sent = Sender(), 0, bytearray()

    def take(self) -> list[Piece]:
        self.turn += 1
        if self.turn % 5:
            return []
        second = self.turn // 5
        frames = self.sender.second(100.0 + second, 40.0, 8.0, 1.5)
        return [Piece(1_750_000_000_000_000 + second * 1_000_000, b"".join(frames), CRAFT)]

    def answer(self, source: Source | None) -> None:
        assert source == CRAFT
        self.answered = source

    def write(self, data: bytes) -> None:
        self.sent += data


def commands() -> Iterator[dict]:
    """Yield every setting and every mark, set and cleared."""
    for key in get_args(Key):
        yield {"kind": "set", "key": key, "value": SAYS[key]}
        if key.startswith("target") or key == "trial":
            yield {"kind": "set", "key": key, "value": None}
    for mark in get_args(MarkName):
        more: dict[str, object] = {"source": "battery 0"} if mark == "unplugged" else {}
        more |= {"charged_wh": 5.0} if mark == "charged" else {}
        yield {"kind": "mark", "mark": mark, "text": "x", **more}


async def ridden(folder: Path, crew: bool, turns: int = 200) -> tuple[bytes, list[dict]]:
    """Run a pipeline on a simulated clock; return what it sent, and the answers to the viewer."""
    pairing = paired_folder(folder)
    profile = Profile(battery=Battery("lfp", 16, capacity_ah=50.0))
    door = DoorSettings("127.0.0.1", 0, pairing, "skiff")
    settings = Settings(
        profile, "udpin:127.0.0.1:0", 57600, None, ("127.0.0.1", 0), folder / "rec", door=door
    )
    now = SimpleNamespace(s=1000.0)
    pipeline_module.time = SimpleNamespace(  # type: ignore[attr-defined]
        monotonic=lambda: now.s,
        monotonic_ns=lambda: int(now.s * 1e9),
        time_ns=lambda: 1_750_000_000 * 10**9,
    )
    reader, answers = Reader(), []
    pipeline = Pipeline(settings, reader, "link", StampClock())  # type: ignore[arg-type]
    feed = pipeline.feed
    await feed.open("127.0.0.1", 0, "skiff", pipeline.on_command, pipeline.publisher.trip_line)
    pipeline.begin()
    ports: list[int] = []
    keeping = asyncio.create_task(door_module.CrewDoor(door, feed, ports.append).run())
    remaining = commands()
    viewer = None
    try:
        while not ports:
            await asyncio.sleep(0.01)
        if crew:
            viewer = await Viewer.joined(ports[0], member(pairing))
        for turn in range(turns):
            now.s += 0.2
            pipeline.tick()
            command = next(remaining, None) if crew and turn > 20 and turn % 8 == 0 else None
            if viewer is not None and command is not None:
                viewer.writer.write(json.dumps({**command, "id": turn}).encode() + b"\n")
                answers.append(await viewer.ack())
    finally:
        Viewer.all.clear()
        if viewer is not None:
            viewer.leave()
        keeping.cancel()
        await asyncio.wait({keeping})
        await feed.close()
        assert pipeline.book is not None
        pipeline.book.close(pipeline.keeper.saved_state())
    return bytes(reader.sent), answers


@pytest.mark.slow
def test_the_same_bytes_are_sent_whatever_a_viewer_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline_module, "time", pipeline_module.time)  # is put back
    alone, _ = asyncio.run(ridden(tmp_path / "alone", crew=False))
    beside, answers = asyncio.run(ridden(tmp_path / "beside", crew=True))
    # All commands succeed, except unplugging a battery that was never received.
    done = [command.get("mark") != "unplugged" for command in commands()]
    assert [one["ok"] for one in answers] == done
    assert len(alone) > 500  # heartbeats, and requests for missing messages
    assert beside == alone
