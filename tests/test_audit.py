"""The gate's audit: a finding fails it, a missing network does not, and each is reported."""

import importlib.util
import json
from pathlib import Path

import pytest

PLACE = Path(__file__).parents[1] / ".ci" / "audit.py"

pytestmark = pytest.mark.skipif(not PLACE.exists(), reason="comes with the repository only")


def audit():  # type: ignore[no-untyped-def]
    spec = importlib.util.spec_from_file_location("audit", PLACE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


CLEAN = {"name": "one", "version": "1.0", "vulns": []}
SKIPPED = {"name": "ours", "skip_reason": "not on the index"}
FAULTY = {"name": "two", "version": "1.0", "vulns": [{"id": "X-1", "fix_versions": ["1.1"]}]}
OPEN = {"name": "three", "version": "2.0", "vulns": [{"id": "X-2", "fix_versions": []}]}


@pytest.mark.parametrize(
    ("packages", "code", "expected"),
    [
        ([CLEAN], 0, "audited 1 packages, no known fault"),
        ([CLEAN, SKIPPED], 0, "1 not audited"),
        ([SKIPPED], 0, "not audited: the index"),
        ([CLEAN, FAULTY], 1, "two 1.0: X-1, mended in 1.1"),
        ([OPEN], 1, "three 2.0: X-2, mended in no version yet"),
    ],
)
def test_findings(packages: list[dict], code: int, expected: str) -> None:
    got, text = audit().verdict(json.dumps({"dependencies": packages, "fixes": []}), "")
    assert got == code
    assert expected in text


@pytest.mark.parametrize(
    ("output", "errors", "expected"),
    [
        ("", "trace\nConnectionError: no route\n", "not audited: ConnectionError: no route"),
        ("", "", "not audited: it said nothing"),
        ("[]", "x", "not audited: x"),
    ],
)
def test_a_missing_network_is_reported(output: str, errors: str, expected: str) -> None:
    assert audit().verdict(output, errors) == (0, expected)
