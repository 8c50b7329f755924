"""The end of a soak: read all records once more; compare the last trip with a review."""

from itertools import pairwise

from tests.faults.soak_daemon import Run
from tests.faults.soak_missing import Explained
from tests.faults.soak_record import Ledger, RecordContents, record_files, taken_files
from tests.faults.soak_run import Soak
from tests.faults.soak_score import spread
from tests.faults.soak_trip import compared, joined, reviewed


def finish(soak: Soak, run: Run) -> list[str]:
    """Judge the whole soak; return the lines to print.

    Parameters
    ----------
    soak
        The soak, after its stream and last daemon have ended.
    run
        The last run.
    """
    ledger = Ledger(soak.stream.sent, soak.floods)
    found = [ledger.read(path) for path in record_files(soak.record)]
    _check_none_gone(soak, ledger)
    explained = Explained(soak.stream, soak.runs, soak.judge.allowances)
    explained.judge(ledger, 0, len(soak.stream.sent.tick))
    by_run = len(soak.judge.explained.unexplained)
    if len(explained.unexplained) != by_run:
        text = f"{len(explained.unexplained)} frames missing at the end, {by_run} run by run"
        soak.score.fail("record", text)
    _check_order(soak, found)
    compare_line = _compare(soak, run, ledger, found)
    trip, drops = soak.judge.trip, sum(soak.stream.truth.drops)
    late_s = max((late for _, late in soak.stream.late_s), default=0.0)
    return [
        f"runs of the daemon: {len(soak.runs)}, record files: {len(found)}",
        f"frames sent: {len(soak.stream.sent.run)}, to a daemon that was there: "
        f"{explained.expected}, recorded: {len(ledger.recorded)}; "
        f"others' frames recorded: {sum(one.others for one in found)}",
        f"missing without a reason: {len(explained.unexplained)}",
        *(f"missing, allowed: {n} ({why})" for why, n in explained.counts.most_common()),
        f"missing at a SIGKILL: {spread(explained.tails_s)}",
        f"kernel's drops at the port: {drops} datagrams; "
        f"not taken by the serial line: {soak.stream.untaken} frames",
        f"torn last records: {sum(one.torn_bytes > 0 for one in found)}; "
        f"frames out of junk: {sum(len(one.junk) for one in found)}",
        f"trip held to the truth {trip.checked} times, lost {trip.lost} times ({trip.lost_s:.0f} s)"
        + "".join(f", {name} off by {off:.2%} at most" for name, off in trip.worst.items()),
        f"this machine made the stream late by {late_s:.2f} s at most",
        compare_line,
    ]


def _check_none_gone(soak: Soak, ledger: Ledger) -> None:
    """Fail if frames have vanished from a record, unless the soak itself took them."""
    for path in taken_files(soak.folder):
        ledger.read(path)
    if gone := len(soak.judge.ledger.recorded - ledger.recorded):
        soak.score.fail("record", f"{gone} frames stood in a record once and do not any more")


def _check_order(soak: Soak, found: list[RecordContents]) -> None:
    """Fail if a file has frames earlier than those of the previous file."""
    ours = sorted((one for one in found if one.first is not None), key=lambda one: one.first or 0)
    for one, two in pairwise(ours):
        if two.first is not None and two.first <= one.last:
            one_name, two_name = ("/".join(each.path.parts[-2:]) for each in (one, two))
            soak.score.fail("record", f"{two_name} begins before {one_name} ends")


def _compare(soak: Soak, run: Run, ledger: Ledger, found: list[RecordContents]) -> str:
    """Compare the last trip of the feed with a review of its records, joined."""
    viewer, sent = run.viewer, soak.stream.sent
    if viewer is None or viewer.last is None or not ledger.recorded:
        soak.score.fail("feed", "no snapshot at the end")
        return "no trip to compare"
    if soak.judge.taken:
        return "part of the last trip's record was taken: nothing to compare it with"
    trip, recorded = viewer.last["trip"], sorted(ledger.recorded)
    # If the right trip is not known, take the feed's own.
    begins_s = soak.judge.trip.begins_s
    known_s = begins_s[-1:] or [sent.at_s[recorded[-1]] - (trip["elapsed_s"] or 0.0)]
    begin_s = known_s[0] - 0.3
    first = next(n for n in recorded if sent.at_s[n] >= begin_s)
    log = soak.folder / "joined.tlog"
    count = joined(found, first, log)
    review = reviewed(log, soak.options.profile)
    if isinstance(review, str):
        soak.score.fail("review", review)
        return "no review to compare with"
    wrong, off = compared(trip, review)
    for text in wrong:
        soak.score.fail("feed and review of the joined records", text)
    differs = ", ".join(f"{name} {value:+.4f}" for name, value in off.items())
    return f"last trip, {count} records joined, feed less review: {differs}"
