"""Rides of the cases about range and agreement, to notice a change of interface."""

import json
from pathlib import Path

import numpy as np
import pytest

from tests.evaluation.cases import CASES, jobs
from tests.evaluation.coverage import FIGURES
from tests.evaluation.results import Job, Results


def ridden(case: str, path: Path, *variants: str) -> tuple[list[Job], Results]:
    """Return a ride of each variant, or of those named, as read back from the file."""
    rides = jobs(case, seed=1, count=1, craft="tender")
    rides = [job for job in rides if not variants or job.variant in variants]
    results = Results(path, "this")
    for job in rides:
        results.add(job, CASES[case].ride(job.seed, job.craft, job.variant))
    return rides, Results(path, "this")


@pytest.mark.slow
def test_coverage(tmp_path: Path) -> None:
    path = tmp_path / "results.jsonl"
    rides, again = ridden("coverage", path)
    assert {job.variant for job in rides} == set(CASES["coverage"].variants)
    assert len(Results(path, "other code").missing(rides)) == len(rides)
    assert not again.missing(rides)
    for row in again.of(rides):
        json.dumps(row, allow_nan=False)
        for name in ("energy", "distance"):
            answer = row["figures"][name]
            # Gain, offset and voltage are off by 2 to 3 % (one standard deviation) at most.
            assert answer["value"] == pytest.approx(answer["true"], rel=0.12)
        assert set(row["figures"]) == set(FIGURES)
        assert all(answer["true"] > 0.0 for answer in row["figures"].values())
    table = CASES["coverage"].table(again.of(rides))
    assert f"| energy | {len(rides)} | 100.0 % |" in table
    assert "| motor_current | 1 |" in table


@pytest.mark.slow
def test_agreement(tmp_path: Path) -> None:
    variants = "a distance, an earlier curve", "a speed, no earlier curve"
    rides, again = ridden("agreement", tmp_path / "results.jsonl", *variants)
    for row in again.of(rides):
        json.dumps(row, allow_nan=False)
        assert row["snapshots"] > 40
        assert set(row["examples"]) == set(row["shown"]) - {"any"}
    assert f"| {variants[0]} | 1 |" in CASES["agreement"].table(again.of(rides))


@pytest.mark.slow
def test_range(tmp_path: Path) -> None:
    rides, again = ridden("range", tmp_path / "results.jsonl", "duty", "power_to_and_fro")
    for row in again.of(rides):
        json.dumps(row, allow_nan=False)
        known = [point for point in row["points"] if "value" in point]
        errors = [abs(point["value"] - point["true"]) / row["full_m"] for point in known]
        assert len(known) > 10
        assert np.median(errors) < 0.3
    assert "| duty | 1 |" in CASES["range"].table(again.of(rides))


@pytest.mark.slow
def test_alarms(tmp_path: Path) -> None:
    rides, again = ridden("alarms", tmp_path / "results.jsonl", "healthy", "heat", "cell")
    assert len(rides) == 3
    for row in again.of(rides):
        json.dumps(row, allow_nan=False)
        assert row["fault_s"] is None or row["variant"] != "healthy"
    table = CASES["alarms"].table(again.of(rides))
    assert "alarms on rides in order: 1 rides" in table
    for fault, code in (("heat", "heat_limiting"), ("cell", "cell_low")):
        assert f"| {fault} | {code} | " in table
        assert f"{code} | 120 s | 1 | 100.0 %" in table or fault == "cell"
