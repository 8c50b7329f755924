"""Two rides of the largest case, to notice a change in the engine's interface."""

import json
from pathlib import Path

import pytest

from tests.evaluation.cases import CASES, jobs
from tests.evaluation.coverage import FIGURES
from tests.evaluation.results import Results


@pytest.mark.slow
def test_two_rides_of_coverage(tmp_path: Path) -> None:
    case, rides = CASES["coverage"], jobs("coverage", seed=1, count=4, craft="tender")
    rides = [job for job in rides if job.variant in {"duty", "speed_to_and_fro"}]
    results = Results(tmp_path / "results.jsonl", "this")
    for job in rides:
        results.add(job, case.ride(job.seed, job.craft, job.variant))
    again = Results(tmp_path / "results.jsonl", "this")
    assert len(Results(tmp_path / "results.jsonl", "other code").missing(rides)) == 2
    assert not again.missing(rides)
    for row in again.of(rides):
        json.dumps(row, allow_nan=False)
        for name in ("energy", "distance"):
            answer = row["figures"][name]
            # Gain, offset and voltage are off by 2 to 3 % (one standard deviation) at most.
            assert answer["value"] == pytest.approx(answer["true"], rel=0.12)
        assert set(row["figures"]) == set(FIGURES)
        assert all(answer["true"] > 0.0 for answer in row["figures"].values())
    assert "| energy | 2 |" in case.table(again.of(rides))
