"""The rider's commands amid all faults: each must be answered, and take effect."""

import time

from tests.faults.soak_faults import Fault
from tests.faults.soak_run import Soak


def new_trip(soak: Soak) -> str | None:
    run = soak.run
    if run is None or run.viewer is None:
        return None
    asked_s = time.monotonic()
    answer = run.viewer.send(kind="mark", mark="new_trip")
    if answer is None:
        if run.running():
            soak.score.fail("command", f"run {run.number}: no answer to new_trip")
        return "no answer"
    if answer["ok"]:
        # The trip begins somewhere in between, with the session created then.
        soak.judge.trip.begins_s = [asked_s]
        soak.judge.taken = False
    return f"answered: {answer.get('why') or 'done'}"


def run_marks(soak: Soak) -> str | None:
    run = soak.run
    if run is None or run.viewer is None:
        return None
    command = soak.chance.choice(
        (
            {"kind": "mark", "mark": "run_start"},
            {"kind": "mark", "mark": "run_end"},
            {"kind": "mark", "mark": "note", "text": "a note"},
            {"kind": "set", "key": "target_distance_m", "value": 5000.0},
            {"kind": "set", "key": "setup", "value": "three blades"},
            {"kind": "set", "key": "home", "value": "here"},
        )
    )
    answer = run.viewer.send(**command)
    if answer is None and run.running():
        soak.score.fail("command", f"run {run.number}: no answer to {command}")
    name = command.get("mark") or command.get("key")
    return f"{name}: {'no answer' if answer is None else 'answered'}"


def charged(soak: Soak) -> str | None:
    """Swap in a full pack once the present one is well used, and mark it."""
    run = soak.run
    if run is None or run.viewer is None or soak.stream.craft.charge_fraction > 0.4:
        return None
    answer = run.viewer.send(kind="mark", mark="charged_full")
    if answer is None or not answer["ok"]:
        return "refused or no answer"
    soak.judge.charged_s = time.monotonic()
    soak.stream.swap_pack()
    return "another pack, full"


MARKS: dict[str, tuple[Fault, float]] = {
    "mark_new_trip": (new_trip, 1.5),
    "mark_run": (run_marks, 1.5),
    "mark_charged": (charged, 1.5),
}
