"""Results on disk, a JSON line per ride, so that a run can be interrupted and resumed.

Each line has a fingerprint of the code that made it: results of other code do not count.
"""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import onboard


@dataclass(frozen=True)
class Job:
    """One ride to simulate."""

    case: str
    seed: int
    craft: str | None
    variant: str = ""

    @property
    def key(self) -> str:
        """Return a key unique among all rides."""
        return f"{self.case}/{self.variant}/{self.craft or 'any'}/{self.seed}"


def fingerprint() -> str:
    """Return a short hash of the code that results depend on: engine, craft, evaluation."""
    engine, here = Path(onboard.__file__).parent, Path(__file__).parent
    files = [
        *engine.glob("*.py"),
        *(engine / "efficiency").rglob("*.py"),
        *(engine.parent / "groundside" / "reports" / "compare").glob("*.py"),
        *(engine.parent / "groundside" / "studies").glob("*.py"),
        *(here.parent / "craft").glob("*.py"),
        *here.glob("*.py"),
    ]
    sums = hashlib.sha256()
    for path in sorted(files):
        if not path.name.startswith(("test_", "__main__", "statistics")):
            sums.update(path.name.encode() + path.read_bytes())
    return sums.hexdigest()[:12]


class Results:
    """The file of results."""

    def __init__(self, path: Path, code: str) -> None:
        self._path, self._code = path, code
        self.done: dict[str, dict[str, Any]] = {}
        if path.exists():
            for line in path.read_text(encoding="utf-8").splitlines():
                try:
                    entry = json.loads(line)
                    if entry["code"] == code:
                        self.done[entry["key"]] = entry["result"]
                except (json.JSONDecodeError, KeyError, TypeError):
                    continue  # the line being written when a run was interrupted

    def missing(self, jobs: Iterable[Job]) -> list[Job]:
        """Return the jobs without a result."""
        return [job for job in jobs if job.key not in self.done]

    def add(self, job: Job, result: dict[str, Any]) -> None:
        """Store a result."""
        self.done[job.key] = result
        with self._path.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"key": job.key, "code": self._code, "result": result}) + "\n")

    def of(self, jobs: Iterable[Job]) -> list[dict[str, Any]]:
        """Return the results of jobs, each with its variant and seed."""
        return [
            {"variant": job.variant, "seed": job.seed, **self.done[job.key]}
            for job in jobs
            if job.key in self.done
        ]
