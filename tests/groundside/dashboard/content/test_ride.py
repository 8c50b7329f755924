"""Content of the ride view: big figures, the cue, small figures."""

from typing import Any

import pytest

from groundside.dashboard.content.ride import (
    BigFigureContent,
    CueContent,
    difference_text,
    ride_content,
    run_parts,
)
from groundside.dashboard.content.small_figures import small_figures, unknown_reasons
from groundside.words.units import CHOICES
from onboard.contract.advice import Stand, Standing, Target
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import TO_GO, snapshot, state, waiting
from tests.made_snapshot import HOME, RUN, TARGET, around, changed, made_snapshot

NO_CURVE = Unknown(Reason.NO_CURVE)
KMH, KN = CHOICES["km/h"], CHOICES["kn"]
OPEN = changed(RUN, number=2, setup="B", open=True, steady_s=40.4, long_enough=False)
ALONE = changed(TO_GO, distance_m=NO_CURVE, wh_per_km=NO_CURVE)


def cue_of(shown: dict[str, Any], **more: Any) -> CueContent:
    return ride_content(state(snapshot(**shown), **more)).cue


@pytest.mark.parametrize(
    ("target", "more", "word", "parts"),
    [
        (TO_GO, {}, "ease", ("9 % over budget: aim for 46 Wh/km", "5.20 km to go")),
        (
            TO_GO,
            {"units": KN},
            "ease",
            ("9 % over budget: aim for 85 Wh/NM", "2.81 NM to go"),
        ),
        (
            changed(TO_GO, cue="hold", difference_fraction=-0.04),
            {},
            "hold",
            ("within 4 %: aim for 46 Wh/km", "5.20 km to go"),
        ),
        (
            changed(
                ALONE,
                cue="push",
                difference_fraction=-0.12,
                power_w=300.0,
                reason=Stand(Standing.AGAINST_POWER, difference_fraction=-0.12),
            ),
            {},
            "push",
            ("12 % too little power: hold 300 W",),
        ),
        (
            changed(
                ALONE,
                speed_mps=2.0,
                difference_fraction=0.31,
                reason=Stand(Standing.AGAINST_SPEED, difference_fraction=0.31),
            ),
            {"units": KN},
            "ease",
            ("31 % too fast: hold 3.9 kn",),
        ),
        (
            changed(TO_GO, cue=NO_CURVE, reason=Stand(Standing.NO_CUE)),
            {},
            "",
            ("No cue: no curve yet.", "5.20 km to go"),
        ),
        (
            changed(
                TO_GO,
                cue=NO_CURVE,
                reason=Stand(
                    Standing.CANNOT_BE_MADE, to_go_m=18_520.0, best_m=3704.0, best_speed_mps=2.0
                ),
            ),
            {"units": KN},
            "",
            # the alert above says the rest
            ("2.81 NM in doubt: aim for 85 Wh/NM",),
        ),
        # 'EASE' once stood over 'on target' though no speed was sure to make the distance
        (
            changed(
                TO_GO,
                speed_mps=2.0,
                difference_fraction=0.002,
                reason=Stand(
                    Standing.CANNOT_BE_MADE, to_go_m=18_520.0, best_m=3704.0, best_speed_mps=2.0
                ),
            ),
            {},
            "ease",
            ("5.20 km in doubt: hold 7.2 km/h",),
        ),
        # a cue from stale figures would steer a rider by the past
        (TO_GO, {"since_received_s": 3.0}, "", ("no cue: the data are stale",)),
    ],
)
def test_the_cue(target: Target, more: dict[str, Any], word: str, parts: tuple[str, ...]) -> None:
    assert cue_of({"target": target}, **more) == CueContent(word, parts)


def test_a_cue_without_its_difference_is_given_all_the_same() -> None:
    target = changed(ALONE, difference_fraction=NO_CURVE, speed_mps=2.0)
    assert cue_of({"target": target}) == CueContent("ease", ("hold 7.2 km/h",))


@pytest.mark.parametrize(
    ("share", "expected"),
    [(0.09, "9 % over"), (-0.12, "12 % under"), (0.004, "on target"), (-0.006, "1 % under")],
)
def test_a_difference_in_words(share: float, expected: str) -> None:
    assert difference_text(share) == expected


def test_a_target_of_the_command_line_without_figures_has_its_reason() -> None:
    unknown = {"target": Unknown(Reason.NO_BATTERY)}
    assert cue_of(unknown, target_distance_m=5200.0).parts == (
        "target 5.20 km: no [battery] in the craft profile",
    )
    assert cue_of(unknown, target_distance_m=5200.0, units=KN).parts[0].startswith("target 2.81 NM")
    assert cue_of(unknown) == CueContent()


@pytest.mark.parametrize(
    ("home", "more", "word"),
    [
        (changed(HOME, turn_back=True), {}, "turn"),
        (changed(HOME, turn_back=False), {}, "ease"),
        (changed(HOME, turn_back=Unknown(Reason.NO_CURVE)), {}, "ease"),
        (changed(HOME, turn_back=True), {"since_received_s": 9.0}, ""),
    ],
)
def test_turn_back_takes_the_place_of_any_other_cue(
    home: Any, more: dict[str, Any], word: str
) -> None:
    cue = cue_of({"target": TARGET, "home": home}, **more)
    assert cue.word == word
    assert (cue.parts == ("head home now: hold 7.2 km/h", "0.76 km to go", "540 Wh to spare")) is (
        word == "turn"
    )


def test_a_way_home_into_the_reserve_says_so() -> None:
    home = changed(HOME, turn_back=True, margin_wh=Figure(-31.0, -60.0, -2.0), speed_mps=NO_CURVE)
    assert cue_of({"home": home}).parts == (
        "head home now",
        "0.76 km to go",
        "31 Wh of the reserve",
    )


@pytest.mark.parametrize(
    ("run", "stale", "parts"),
    [
        (OPEN, False, ("steady for 40 s", "run 2 B")),
        (changed(OPEN, setup="as is"), False, ("steady for 40 s", "run 2")),
        (changed(OPEN, long_enough=True), False, ("long enough", "run 2 B")),
        (OPEN, True, ("run 2 B is open", "the data are stale")),
        (changed(OPEN, open=False), False, ()),
    ],
)
def test_the_run_that_is_open(run: Any, stale: bool, parts: tuple[str, ...]) -> None:
    # Steady time before the run does not count: the craft itself has been steady for 40 s.
    shown = snapshot(runs=(RUN, run), steady__seconds_s=99.0)
    assert run_parts(shown, stale=stale) == parts
    assert cue_of({"runs": (RUN, run)}, since_received_s=9.0 if stale else 0.0).parts == parts


def test_an_open_run_follows_the_cue() -> None:
    shown = {"target": changed(ALONE, power_w=300.0), "runs": (OPEN,)}
    assert cue_of(shown).parts == (
        "9 % over budget: hold 300 W",
        "steady for 40 s",
        "run 2 B",
    )


@pytest.mark.parametrize(
    ("figure", "units", "big"),
    [
        (around(51.0), KMH, BigFigureContent("51", "Wh/km", "last 20 s", "48 to 54")),
        # 51 Wh/km * 1.852 = 94.45 Wh/NM, 5 % of it are 4.7
        (around(51.0), KN, BigFigureContent("94", "Wh/NM", "last 20 s", "90 to 99")),
        (Figure(51.0), KMH, BigFigureContent("51", "Wh/km", "last 20 s")),
        (
            Unknown(Reason.HARDLY_MOVING),
            KMH,
            BigFigureContent(None, "Wh/km", "last 20 s", why="hardly moving"),
        ),
        (
            Figure(2e4),
            KMH,
            BigFigureContent(None, "Wh/km", "last 20 s", why="beyond 9999: hardly moving"),
        ),
    ],
)
def test_the_consumption_in_big_type(figure: Any, units: Any, big: BigFigureContent) -> None:
    shown = state(snapshot(wh_per_km__last_20_s=figure), units=units)
    assert ride_content(shown).consumption == big


@pytest.mark.parametrize(
    ("figure", "digits", "why"),
    [
        (Figure(16_400.0, 9_000.0, 25_000.0), "16.4", ""),
        # The first range of a ride once stood there as 64 km.
        (Figure(64_000.0, 8_000.0, 120_000.0), None, "8.0 to 120 km: settling"),
    ],
)
def test_a_range_that_cannot_be_told_is_not_drawn_large(
    figure: Figure, digits: str | None, why: str
) -> None:
    content = ride_content(state(snapshot(range_m__now=figure)))
    assert (content.range.digits, content.range.why) == (digits, why)


def test_a_consumption_that_cannot_be_told_is_not_drawn_large() -> None:
    content = ride_content(state(snapshot(wh_per_km__last_20_s=Figure(80.0, 20.0, 170.0))))
    assert (content.consumption.digits, content.consumption.why) == (
        None,
        "20 to 170 Wh/km: settling",
    )


@pytest.mark.parametrize(
    ("value_m", "units", "digits"),
    [
        (420.0, KMH, "0.42"),
        (9_400.0, KMH, "9.4"),
        (16_400.0, KMH, "16.4"),
        (16_400.0, KN, "8.9"),
        (142_000.0, KMH, "142"),
    ],
)
def test_the_range_in_big_type(value_m: float, units: Any, digits: str) -> None:
    shown = ride_content(state(snapshot(range_m__now=Figure(value_m)), units=units))
    assert (shown.range.digits, shown.range.unit) == (digits, units.distance_name)


def test_stale_figures_are_marked() -> None:
    for since_s, old in ((2.0, False), (2.1, True)):
        content = ride_content(state(since_received_s=since_s))
        assert (content.stale, content.consumption.stale, content.range.stale) == (old,) * 3


CELLS = (
    *(("power", "412 W"), ("speed", "8.0 km/h"), ("usable", "812 Wh"), ("distance", "1.93 km")),
    *(("used", "93 Wh"), ("time", "7 min"), ("5 min", "48 Wh/km"), ("trip", "48 Wh/km")),
    *(("charge", "88 %"), ("lasts", "1 h 58"), ("pack", "51.2 V"), ("draw", "8.1 A")),
    *(("mark", "47 Wh/km"), ("best at", "5.4 km/h"), ("motor", "47 °C"), ("turns", "1810 rpm")),
)


def test_no_two_small_figures_share_a_label() -> None:
    # 'left' once stood there for Wh and for %, 'trip' for km and for Wh/km.
    labels = [cell.label for cell in small_figures(made_snapshot(), KMH)]
    assert len(labels) == len(set(labels)) == len(CELLS)


def test_the_small_figures() -> None:
    shown = made_snapshot(amps_a=8.06)
    cells = small_figures(shown, KMH)
    assert tuple((cell.label, cell.text) for cell in cells) == CELLS
    assert all(cell.known for cell in cells)
    assert [cell.interval for cell in cells if cell.label in ("usable", "charge")] == [
        "771 to 853",
        "84 to 92",
    ]
    knots = [cell.text for cell in small_figures(shown, KN)]
    assert knots[1] == "4.3 kn"
    assert knots[3] == "1.04 NM"
    assert knots[6] == "89 Wh/NM"
    assert knots[13] == "2.9 kn"


def test_figures_that_a_craft_lacks_are_omitted() -> None:
    labels = [cell.label for cell in small_figures(snapshot(drive=Unknown(Reason.NO_DRIVE)), KMH)]
    assert labels == [label for label, _ in CELLS[:12]]


def test_each_reason_appears_once() -> None:
    none = Unknown(Reason.NO_BATTERY)
    cells = small_figures(snapshot(battery=none, time_left_s=none, volts_v=NO_CURVE), KMH)
    assert unknown_reasons(cells) == (
        "usable, charge, lasts: no [battery] in the craft profile",
        "pack: no curve yet",
    )


def test_before_the_first_snapshot_all_is_unknown() -> None:
    content = ride_content(waiting(since_received_s=99.0))
    assert content.consumption == BigFigureContent(None, "Wh/km", "last 20 s", why="no data yet")
    assert not any(cell.known for cell in content.figures)
    assert not content.has_cue
    assert not content.stale
