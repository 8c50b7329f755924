"""The import rule of DEVELOPERS.md: arrows go one way."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

FORBIDDEN = [
    ("onboard", ("groundside", "textual", "tests")),
    (
        "onboard/efficiency",
        ("onboard.telemetry", "onboard.feed", "onboard.ride.ride", "onboard.daemon.service"),
    ),
    ("onboard/efficiency", ("pymavlink", "serial", "socket", "time", "asyncio")),
    (
        "onboard/telemetry",
        ("onboard.efficiency", "onboard.feed", "onboard.ride.ride", "onboard.daemon.service"),
    ),
    ("onboard/feed", ("onboard.telemetry", "onboard.ride.ride", "onboard.daemon.service")),
    ("onboard/feed", ("onboard.crew",)),
    (
        "onboard/crew",
        (
            "onboard.telemetry",
            "onboard.ride.ride",
            "onboard.ride.commands",
            "onboard.daemon.service",
        ),
    ),
    ("groundside", ("tests", "onboard.daemon.service", "onboard.telemetry.link.link_reader")),
    (
        "groundside/dashboard",
        ("onboard.telemetry", "onboard.ride.ride", "groundside.connection.feed_client"),
    ),
    (
        "groundside/dashboard/faces",
        ("textual", "rich", "groundside.dashboard.widgets", "groundside.dashboard.views"),
    ),
    ("groundside/dashboard/widgets", ("groundside.dashboard.views", "groundside.dashboard.app")),
    ("groundside/dashboard/views", ("groundside.dashboard.app", "groundside.dashboard.screens")),
    (
        "groundside/reports/review",
        (
            "textual",
            "groundside.dashboard.app",
            "groundside.dashboard.views",
            "groundside.dashboard.widgets",
        ),
    ),
    ("groundside/browser", ("groundside.dashboard", "onboard.telemetry", "onboard.efficiency")),
    ("tests/craft", ("onboard", "groundside")),
]


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


@pytest.mark.parametrize(("room", "others"), FORBIDDEN)
def test_a_room_does_not_import_what_is_behind_it(room: str, others: tuple[str, ...]) -> None:
    files = [path for path in (ROOT / room).rglob("*.py") if not path.name.startswith("test_")]
    assert files
    for path in files:
        for name in imports(path):
            assert not any(name == other or name.startswith(f"{other}.") for other in others), (
                f"{path.relative_to(ROOT)} imports {name}"
            )


@pytest.mark.slow
@pytest.mark.parametrize(
    "module",
    [
        "onboard.daemon.service",
        "groundside.__main__",
        "groundside.dashboard.show",
        "groundside.reports.review.summary",
    ],
)
def test_textual_is_loaded_for_the_dashboard_only(module: str) -> None:
    code = f"import {module}, sys; sys.exit('textual' in sys.modules or 'rich' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0
