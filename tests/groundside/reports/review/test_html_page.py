"""The HTML page: self-contained, escaped, and equal to the tables."""

from dataclasses import replace
from pathlib import Path

import pytest

from groundside.reports.review.html_page import html_page
from groundside.reports.review.parallel_review import ReviewOutcome
from groundside.reports.review.report_tables import CAUTION
from groundside.studies.review_result import LogEvent
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.reports.read_page import Read, fetches_nothing
from tests.groundside.reports.review.rides import season_outcomes, skiff_outcome

pytestmark = pytest.mark.slow


def test_a_page_of_one_ride() -> None:
    read = Read(html_page([skiff_outcome()], None, True))
    fetches_nothing(read)
    for text in (
        "harbour_loop.tlog demo skiff, 2025-06-14 09:30 UTC",
        "consumption 52.3 Wh/km (50.2 to 54.5)",
        "8 to 10 00:01:03 0.15 5.7 325 38.8 (37.1 to 40.6)",
        "usable 815 Wh (742 to 889)",
        "water not known: needs steady stretches",
        "In brackets: the ends of the 95 % interval.",
        CAUTION,
        "This page shows the track",
    ):
        assert text in read.text
    assert read.tags.count("svg") == 4
    assert all(read.all_of("aria-label"))
    assert read.all_of("name")[0] == "viewport"
    assert "prefers-color-scheme: dark" in read.styles
    assert "@media print" in read.styles
    assert "max-width: 599px" in read.styles


def test_no_track_leaves_the_track_out() -> None:
    text = html_page([skiff_outcome()], None, False)
    read = Read(text)
    assert read.tags.count("svg") == 3
    assert "Track" not in read.text
    assert "The track was left out of this page." in read.text
    assert not any("Track" in label for label in read.all_of("aria-label"))
    # No plot has the track's colour bar: only that is an image within an image.
    assert "image" not in read.tags


def test_a_page_holds_no_coordinates() -> None:
    kept = skiff_outcome().series
    assert kept is not None
    text = html_page([skiff_outcome()], None, True)
    for value in (*kept.pieces[0, 4:], *kept.pieces[-1, 4:]):
        assert f"{value:.3f}" not in text


def test_a_page_of_several_rides_has_totals_and_problems() -> None:
    read = Read(html_page(season_outcomes(), None, True))
    fetches_nothing(read)
    assert read.text.startswith("3 rides - review 3 rides")
    assert "all 3 00:22:16 2.17 113 52.1 (49.9 to 54.3) 8.0 304" in read.text
    assert "could not be read" in read.text
    assert "no MAVLink frame in it" in read.text
    assert read.tags.count("article") == 3
    for name in ("at_anchor.tlog", "board_sprints.tlog", "harbour_loop.tlog"):
        assert read.text.count(name) >= 2
    assert "Energy against distance: hardly moved" in read.text


def test_a_page_is_in_the_requested_units() -> None:
    text = Read(html_page([skiff_outcome()], "kn", True)).text
    assert "96.9 Wh/NM" in text
    assert "km" not in text.replace("Wh/km", "km").split("In brackets")[0]


@pytest.mark.parametrize("evil", ["<script>alert(1)</script>", '"><img src=x onerror=y>', "&lt;b"])
def test_hostile_text_is_escaped(evil: str) -> None:
    good = skiff_outcome()
    assert good.result is not None
    assert good.series is not None
    bad = replace(
        good,
        path=Path(f"a{evil.replace('/', '|')}.tlog"),
        result=replace(
            good.result,
            events=(LogEvent(3.0, Alert(AlertCode.SOURCE_SILENT, sources=(evil,))),),
            curve=Unknown(Reason.NEWER, name=evil),
            ridden=replace(good.result.ridden, cells=()),
            battery=Unknown(Reason.NEWER, name=evil),
            set_and_drift=Unknown(Reason.NEWER, name=evil),
        ),
        series=replace(good.series, craft=evil),
    )
    unread = ReviewOutcome(Path(evil), None, f"{evil}: no such file")
    for reviewed in ([bad], [bad, good, unread]):
        text = html_page(reviewed, None, True)
        read = Read(text)
        fetches_nothing(read)
        assert "<img" not in text
        assert "<script" not in text
        # The name, the craft, the event and three reasons, as they are.
        assert read.text.count(evil) >= 5
        assert evil.replace("/", "|") in read.text


def test_undecodable_names_do_not_stop_it() -> None:
    good = replace(skiff_outcome(), path=Path("ride\udcff.tlog"))
    html_page([good], None, False).encode()
    html_page(
        [good, ReviewOutcome(Path("a\udcff"), None, "a\udcff: no such file")], None, False
    ).encode()
