"""Reviews of the sample logs with their series, read once for all tests."""

import functools
from pathlib import Path

from groundside.reports.review.parallel_review import ReviewOutcome, review_logs
from onboard.profile import profile_for

LOGS = Path(__file__).parents[4] / "replay_logs"
SKIFF, CRAFT = LOGS / "harbour_loop.tlog", LOGS / "harbour_loop.toml"
ANCHOR, BOARD = LOGS / "at_anchor.tlog", LOGS / "board_sprints.tlog"


@functools.cache
def skiff_outcome() -> ReviewOutcome:
    """Return the skiff's ride, with its battery."""
    return review_logs([SKIFF], functools.partial(profile_for, CRAFT), draws=True)[0]


@functools.cache
def season_outcomes() -> tuple[ReviewOutcome, ...]:
    """Return three rides of a craft without a profile, and an unreadable log."""
    paths = [ANCHOR, BOARD, SKIFF, LOGS / "README.md"]
    return tuple(review_logs(paths, functools.partial(profile_for, None), draws=True))
