"""Freed memory is returned, though small blocks between it are still in use."""

import ctypes
import re
from pathlib import Path

import pytest

from onboard.daemon import lean_memory


def resident_bytes() -> int:
    found = re.search(r"^VmRSS:\s+(\d+) kB", Path("/proc/self/status").read_text(), re.MULTILINE)
    assert found
    return int(found[1]) * 1024


@pytest.mark.skipif(not hasattr(ctypes.CDLL(None), "malloc_trim"), reason="another C library")
def test_memory_freed_between_live_blocks_is_returned() -> None:
    size = 64 << 10
    pieces = [b"x" * (size - 100) for _ in range(600)]
    stay = pieces[::10]
    full = resident_bytes()
    del pieces
    lean_memory.trim()
    assert full - resident_bytes() > 0.8 * 540 * size
    assert len(stay) == 60


def test_a_c_library_without_these_functions_is_tolerated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "CDLL", lambda _: object())
    lean_memory.begin()
    lean_memory.trim()


def test_memory_is_trimmed_at_intervals_and_right_after_a_fit_or_a_save(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    given: list[float] = []
    trimmer, fit, other = lean_memory.Trimmer(), object(), object()

    def due(now_s: float, fit: object) -> bool:
        monkeypatch.setattr(lean_memory, "trim", lambda: given.append(now_s))
        trimmer.trim_if_due(now_s, fit)
        return given[-1:] == [now_s]

    every_s = lean_memory.TRIM_EVERY_S
    assert due(100.0, fit)
    assert not due(100.0 + every_s - 0.2, fit)
    assert due(100.0 + every_s, fit)
    assert due(100.2 + every_s, other)
    assert not due(100.4 + every_s, other)
    trimmer.trim_soon()
    assert due(100.6 + every_s, other)
