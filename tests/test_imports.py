"""The import rule of DEVELOPERS.md: a room imports only rooms above it, without cycles."""

import ast
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

ORDER = (
    "onboard.dataclass",
    "onboard.contract",
    "onboard.errors",
    "onboard.files",
    "onboard.block",
    "onboard.chemistry",
    "onboard.setting",
    "onboard.profile",
    "onboard.options",
    "onboard.telemetry.mavlink",
    "onboard.telemetry.messages",
    "onboard.telemetry.logs.archives",
    "onboard.telemetry.logs.log_files",
    "onboard.telemetry.logs.boot_clock",
    "onboard.telemetry.logs.onboard_log",
    "onboard.telemetry.logs",
    "onboard.telemetry.link",
    "onboard.efficiency.common_practice",
    "onboard.efficiency.alert_practice",
    "onboard.efficiency.statistics",
    "onboard.efficiency.parts",
    "onboard.efficiency.meters",
    "onboard.efficiency.sources",
    "onboard.efficiency.trip",
    "onboard.efficiency.battery",
    "onboard.efficiency.curve",
    "onboard.efficiency.riding",
    "onboard.efficiency.advice",
    "onboard.efficiency.engine",
    "onboard.efficiency.trial",
    "onboard.ride",
    "onboard.record",
    "onboard.restarts",
    "onboard.coach",
    "onboard.feed",
    "onboard.crew",
    "onboard.daemon",
    "onboard.ashore",
    "onboard.command_line",
    "onboard.__main__",
    "groundside.words",
    "groundside.interrupts",
    "groundside.terminal",
    "groundside.options",
    "groundside.studies",
    "groundside.connection",
    "groundside.dashboard.drawing",
    "groundside.dashboard.lock",
    "groundside.dashboard.sounds",
    "groundside.dashboard.view_state",
    "groundside.dashboard.notices",
    "groundside.dashboard.target_choice",
    "groundside.dashboard.layout",
    "groundside.dashboard.keys",
    "groundside.dashboard.redraw_interval",
    "groundside.dashboard.content",
    "groundside.dashboard.widgets",
    "groundside.dashboard.views",
    "groundside.dashboard",
    "groundside.replay",
    "groundside.demo",
    "groundside.dashboard.pictures",
    "groundside.browser",
    "groundside.reports",
    "groundside.command_line",
    "groundside.program",
    "groundside.__main__",
)
"""Every room, and every module beside rooms, in order: the first imports nothing of the product."""

APART = (
    ("onboard.efficiency", ("onboard.telemetry", "pymavlink", "serial", "socket", "time")),
    ("onboard.feed", ("onboard.telemetry", "onboard.efficiency", "onboard.ride", "onboard.record")),
    ("onboard.crew", ("onboard.telemetry", "onboard.efficiency", "onboard.ride", "onboard.record")),
    ("groundside", ("onboard.daemon", "onboard.telemetry.link")),
    ("groundside.dashboard", ("onboard.telemetry", "onboard.ride")),
    ("groundside.dashboard.content", ("textual", "rich")),
    ("groundside.words", ("textual", "rich")),
    ("groundside.reports", ("textual", "groundside.dashboard.app", "groundside.dashboard.widgets")),
    ("groundside.browser", ("onboard.telemetry", "onboard.efficiency")),
    ("tests.craft", ("onboard", "groundside")),
)
"""Rooms that must not import each other, whatever their order."""


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


SOURCES = {
    module_name(path): path
    for top in ("onboard", "groundside", "tests/craft")
    for path in (ROOT / top).rglob("*.py")
    if not path.name.startswith("test_")
}


def imports(path: Path) -> set[str]:
    """Return the full names that a file imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {one if one in SOURCES else node.module for one in names}
    return found


ARROWS = {name: imports(path) for name, path in SOURCES.items()}


def within(name: str, room: str) -> bool:
    return name == room or name.startswith(f"{room}.")


def room_of(name: str) -> str:
    """Return the innermost room of the order that contains a module."""
    rooms = [room for room in ORDER if within(name, room)]
    return max(rooms, key=len) if rooms else ""


PRODUCT = sorted(name for name in SOURCES if not within(name, "tests"))


def test_every_module_has_a_place_in_the_order() -> None:
    parents = {".".join(room.split(".")[:depth]) for room in ORDER for depth in (1, 2)}
    assert [name for name in PRODUCT if not room_of(name) and name not in parents] == []
    assert [room for room in ORDER if not any(within(name, room) for name in PRODUCT)] == []


@pytest.mark.parametrize("name", PRODUCT)
def test_a_room_imports_only_rooms_above_it(name: str) -> None:
    place = ORDER.index(room_of(name)) if room_of(name) else 0
    behind = {
        other for other in ARROWS[name] if room_of(other) and ORDER.index(room_of(other)) > place
    }
    assert behind == set()


@pytest.mark.parametrize(("room", "others"), APART)
def test_unrelated_rooms_do_not_import_each_other(room: str, others: tuple[str, ...]) -> None:
    inside = [name for name in SOURCES if within(name, room)]
    assert inside
    found = {(n, i) for n in inside for i in ARROWS[n] if any(within(i, one) for one in others)}
    assert found == set()


def test_no_import_cycle_and_nothing_imported_from_a_main() -> None:
    ours = {name: {one for one in ARROWS[name] if one in SOURCES} for name in SOURCES}
    TopologicalSorter(ours).prepare()  # raises if there is a cycle
    assert {
        (name, one) for name, arrows in ours.items() for one in arrows if one.endswith("__main__")
    } == set()


@pytest.mark.slow
@pytest.mark.parametrize(
    "module",
    [
        "onboard.daemon.service",
        "groundside.command_line",
        "groundside.dashboard.show",
        "groundside.reports.review.summary",
    ],
)
def test_textual_is_loaded_for_the_dashboard_only(module: str) -> None:
    code = f"import {module}, sys; sys.exit('textual' in sys.modules or 'rich' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


REVIEW = """
import contextlib, io
from groundside.command_line import main
with contextlib.redirect_stdout(io.StringIO()):
    main(["review", "replay_logs/board_sprints.tlog", "--json"])
"""
DAEMON = "import onboard.command_line, onboard.daemon.run_command, onboard.daemon.service"

NOT_LOADED = {
    REVIEW: (
        *("asyncio", "concurrent.futures", "email", "http", "importlib.metadata"),
        *("multiprocessing", "numpy.fft", "numpy.ma", "numpy.polynomial", "numpy.random"),
        *("pymavlink", "socket", "ssl", "subprocess", "tempfile", "tomllib", "uuid"),
        *("onboard.coach", "onboard.crew", "onboard.daemon", "onboard.efficiency.trial"),
        *("onboard.feed", "onboard.telemetry.link", "groundside.connection"),
        *("groundside.dashboard", "groundside.replay", "groundside.reports.compare"),
        *("groundside.reports.plan", "groundside.studies.plan"),
    ),
    DAEMON: (
        *("cryptography", "email", "http", "importlib.metadata", "multiprocessing", "numpy.fft"),
        *("numpy.ma", "numpy.polynomial", "numpy.random", "pymavlink", "tempfile", "uuid"),
        *("zeroconf", "onboard.ashore", "groundside"),
    ),
}
"""What a program must not load, by what it runs: each costs more than it does for it."""


@pytest.mark.slow
@pytest.mark.parametrize("code", NOT_LOADED, ids=("review", "daemon"))
def test_a_program_loads_nothing_heavy_that_it_does_not_use(code: str) -> None:
    names = f"print(*(name for name in {NOT_LOADED[code]} if name in sys.modules))"
    run = [sys.executable, "-c", f"{code}\nimport sys\n{names}"]
    done = subprocess.run(run, cwd=ROOT, check=True, capture_output=True, text=True)
    assert done.stdout.split() == []


@pytest.mark.slow
def test_the_benchmarks_can_be_started() -> None:
    """They are no tests: an import in them led nowhere once, and nothing said so."""
    run = [sys.executable, "-m", "tests.benchmarks", "--help"]
    assert subprocess.run(run, cwd=ROOT, check=False, stdout=subprocess.DEVNULL).returncode == 0
