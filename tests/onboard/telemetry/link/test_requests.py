"""Requests to an autopilot that accepts, refuses, stays silent, restarts or is replaced."""

import itertools
import math

import pymavlink.dialects.v20.all as dialect
import pytest

from onboard.telemetry.link import rates, requests
from onboard.telemetry.link.requests import Requests
from onboard.telemetry.messages.table import REQUESTED, Message
from tests.onboard.telemetry.link.made_autopilot import (
    ACCEPTED,
    COMPONENT,
    DENIED,
    FAILED,
    LATER,
    OPTIONAL,
    PLAIN,
    STREAMS,
    SYSTEM,
    TICK_S,
    UNSUPPORTED,
    Autopilot,
    Run,
    commands,
    frame,
    frames,
    missing,
    needed,
    read,
    streams,
)
from tests.onboard.telemetry.made_messages import ID


def test_before_an_autopilot_is_known_only_heartbeats_are_sent() -> None:
    requester = Requests(system_id=9)
    log = []
    for n in range(100):
        requester.observe(frames([frame(ID["HEARTBEAT"])]), n * TICK_S)
        log += read(requester.due(n * TICK_S, None, None))
    assert len(log) == 20
    for beat in log:
        assert beat.get_type() == "HEARTBEAT"
        assert (beat.get_srcSystem(), beat.get_srcComponent()) == (9, 191)
        assert (beat.type, beat.autopilot) == (18, 8)


def test_sequence_numbers_count_up_and_the_system_id_is_the_autopilots() -> None:
    run = Run(Autopilot({}))
    log = run.go(120)
    assert [m.get_seq() for _, m in log] == [n % 256 for n in range(len(log))]
    assert {(m.get_srcSystem(), m.get_srcComponent()) for _, m in log} == {(SYSTEM, 191)}


def test_every_message_is_requested_once_from_a_silent_autopilot() -> None:
    run = Run(Autopilot({}))
    assert commands(run.go(rates.WINDOW_S - TICK_S)) == []
    log = run.go(10)
    requested = {number: rate for _, number, rate in commands(log)}
    # Of the two drive messages, the second may come too late to be needed.
    assert {k: v for k, v in requested.items() if k not in OPTIONAL} == pytest.approx(
        needed_plain()
    )
    assert requested.keys() - set(PLAIN) <= OPTIONAL
    assert len(commands(log)) == len(requested)
    # Once everything comes, nothing is requested any more.
    assert missing(run.requests, run.now_s) == ()
    assert commands(run.go(300)) == streams(run.log) == []
    for number, message in PLAIN.items():
        assert run.autopilot.rates[number] == pytest.approx(message.rate_hz)


def needed_plain() -> dict[int, float]:
    return {number: message.rate_hz for number, message in PLAIN.items()}


def test_messages_that_come_faster_by_themselves_are_left_alone() -> None:
    rates = {number: 3.0 * rate for number, rate in needed().items()}
    run = Run(Autopilot(dict(rates)))
    assert {m.get_type() for _, m in run.go(120)} == {"HEARTBEAT"}
    assert run.autopilot.rates == {ID["HEARTBEAT"]: 1.0, **rates}


@pytest.mark.parametrize(("share", "requested"), [(0.55, True), (0.65, False)])
def test_six_tenths_of_the_rate_is_enough(share: float, requested: bool) -> None:
    run = Run(Autopilot({**needed(), ID["GPS_RAW_INT"]: 5.0 * share}))
    assert ({number for _, number, _ in commands(run.go(60))} == {ID["GPS_RAW_INT"]}) == requested


def test_a_stream_that_has_just_begun_is_not_slowed_down() -> None:
    run = Run(Autopilot({**needed(), ID["ATTITUDE"]: 0.0}, complies=False))
    run.go(rates.WINDOW_S)
    run.autopilot.rates[ID["ATTITUDE"]] = 20.0
    run.autopilot.complies = True
    assert commands(run.go(60)) == []
    assert run.autopilot.rates[ID["ATTITUDE"]] == 20.0


def test_requests_without_effect_back_off() -> None:
    run = Run(Autopilot({**needed(), ID["VFR_HUD"]: 0.0}, complies=False))
    run.autopilot.default = LATER
    times = [at for at, _, _ in commands(run.go(200))]
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert gaps[:7] == pytest.approx([1, 2, 4, 8, 16, 30, 30], abs=1.5 * TICK_S)
    assert streams(run.log) == []


def test_after_an_acceptance_the_effect_is_awaited() -> None:
    run = Run(Autopilot({**needed(), ID["VFR_HUD"]: 0.0}, complies=False))
    times = [at for at, _, _ in commands(run.go(60))]
    assert min(b - a for a, b in itertools.pairwise(times)) >= rates.WINDOW_S


def test_a_message_that_stops_is_requested_again() -> None:
    run = Run(Autopilot({}))
    run.go(60)
    run.autopilot.rates[ID["SYS_STATUS"]] = 0.0
    log = commands(run.go(5))
    assert [number for _, number, _ in log] == [ID["SYS_STATUS"]]
    assert missing(run.requests, run.now_s + 5) != ()
    run.go(5)
    assert missing(run.requests, run.now_s) == ()


def test_a_restarted_autopilot_is_observed_before_requests() -> None:
    run = Run(Autopilot({}))
    run.go(60)
    away = run.go(20, dumb=True)
    # At most messages missing briefly, before the silence is recognized.
    assert all(at < run.now_s - 20 + 3.5 for at, _, _ in commands(away))
    run.autopilot.rates = {ID["HEARTBEAT"]: 1.0, ID["ATTITUDE"]: 40.0}
    assert commands(run.go(4.8)) == []
    requested = {number for _, number, _ in commands(run.go(10))}
    assert requested >= set(PLAIN) - {ID["ATTITUDE"]}
    assert ID["ATTITUDE"] not in requested
    assert run.autopilot.rates[ID["ATTITUDE"]] == 40.0


@pytest.mark.parametrize("result", [DENIED, UNSUPPORTED, FAILED, 8])
def test_a_refused_command_gives_way_to_stream_groups(result: int) -> None:
    run = Run(Autopilot({}))
    run.autopilot.default = result
    log = run.go(60)
    assert {group for _, group, _ in streams(log)} == set(STREAMS)
    assert missing(run.requests, run.now_s) == ()
    for number, message in PLAIN.items():
        assert run.autopilot.rates[number] >= message.rate_hz
    # Twice each: one refusal may have been an answer to somebody else.
    counts = [number for _, number, _ in commands(log)]
    assert max(counts.count(number) for number in REQUESTED) == requests.REFUSALS
    assert {m.get_type() for _, m in run.go(300)} == {"HEARTBEAT"}


def test_one_refused_message_leaves_the_others_to_the_command() -> None:
    run = Run(Autopilot({}))
    run.autopilot.result = {ID["VFR_HUD"]: DENIED, **dict.fromkeys(OPTIONAL, DENIED)}
    log = run.go(60)
    assert streams(log) == [(pytest.approx(1000, abs=60), dialect.MAV_DATA_STREAM_EXTRA2, 2)]
    assert missing(run.requests, run.now_s) == ()
    # Drive messages are given up quietly.
    assert (
        sum(number in OPTIONAL for _, number, _ in commands(log))
        == len(OPTIONAL) * requests.REFUSALS
    )
    assert {m.get_type() for _, m in run.go(300)} == {"HEARTBEAT"}


def test_drive_messages_that_never_come_are_given_up() -> None:
    run = Run(
        Autopilot({number: message.rate_hz for number, message in PLAIN.items()}, complies=False)
    )
    log = commands(run.go(300))
    assert {number for _, number, _ in log} == OPTIONAL
    assert len(log) == len(OPTIONAL) * requests.OPTIONAL_TRIES
    assert commands(run.go(300)) == []


def test_one_drive_message_is_enough() -> None:
    others = {number: hz for number, hz in needed().items() if REQUESTED[number].channel != "drive"}
    run = Run(Autopilot({**others, ID["ESC_TELEMETRY_1_TO_4"]: 4.0}))
    assert commands(run.go(120)) == []


def test_an_optional_message_does_not_stand_for_one_of_another_channel(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    other = Message("SCALED_PRESSURE3", "water", rate_hz=1.0, optional=True)
    monkeypatch.setattr(requests, "REQUESTED", {**REQUESTED, other.id: other})
    run = Run(Autopilot({**needed(), ID["ESC_TELEMETRY_1_TO_4"]: 4.0}, complies=False))
    assert {number for _, number, _ in commands(run.go(120))} == {other.id}


def test_without_answers_stream_groups_follow_after_five_commands() -> None:
    run = Run(Autopilot({}))
    run.autopilot.default = None
    log = run.go(40)
    first = streams(log)[0][0]
    assert sum(at < first for at, _, _ in commands(log)) == requests.UNANSWERED
    # The last answer to the fifth is awaited: soon enough for a rider about to set off.
    assert first - 1000 <= rates.WINDOW_S + 5 * (requests.ACK_WAIT_S + 2 * TICK_S)
    assert missing(run.requests, run.now_s) == ()


def test_if_neither_works_both_are_retried_rarely_for_ever() -> None:
    run = Run(Autopilot({}, streams=False))
    run.autopilot.default = None
    run.go(300)
    late = run.go(300)
    assert commands(late)
    assert streams(late)
    assert len(commands(late)) + len(streams(late)) <= len(PLAIN) * 300 / rates.BACKOFF_MOST_S + 9
    # The answers return at last, as after a loose plug.
    run.autopilot.default = ACCEPTED
    run.go(120)
    assert missing(run.requests, run.now_s) == ()


def test_a_group_is_never_requested_below_a_members_rate() -> None:
    run = Run(Autopilot({ID["GPS_RAW_INT"]: 10.0, ID["SYSTEM_TIME"]: 80.0}))
    run.autopilot.default = UNSUPPORTED
    log = run.go(120)
    by_group = {group: rate for _, group, rate in streams(log)}
    assert by_group[dialect.MAV_DATA_STREAM_EXTENDED_STATUS] >= 10
    assert run.autopilot.rates[ID["GPS_RAW_INT"]] >= 10
    # Faster than a group is ever requested: better without BATTERY_STATUS than slower.
    assert dialect.MAV_DATA_STREAM_EXTRA3 not in by_group
    assert run.autopilot.rates[ID["SYSTEM_TIME"]] == 80.0


def test_an_unanswered_message_does_not_starve_the_others() -> None:
    run = Run(Autopilot({}))
    run.autopilot.result = {ID["SYS_STATUS"]: None}
    log = commands(run.go(rates.WINDOW_S + requests.ACK_WAIT_S + 2 * TICK_S * len(REQUESTED)))
    assert {number for _, number, _ in log} >= set(PLAIN)


def test_an_unanswered_message_is_requested_by_its_group() -> None:
    run = Run(Autopilot({}))
    run.autopilot.result = {ID["VFR_HUD"]: None}
    log = run.go(120)
    requested = [number for _, number, _ in commands(log)].count(ID["VFR_HUD"])
    assert requested == requests.UNANSWERED
    assert [group for _, group, _ in streams(log)] == [dialect.MAV_DATA_STREAM_EXTRA2]
    assert missing(run.requests, run.now_s) == ()


def answers_in_turn(run: Run, number: int, results: list[int | None]) -> None:
    """Let the autopilot, which does nothing, answer for a message in turn."""
    turn, step = itertools.cycle(results), run.autopilot.step

    def stepped(received: list) -> list[bytes]:
        if any(getattr(message, "param1", None) == number for message in received):
            run.autopilot.result[number] = next(turn)
        return step(received)

    run.autopilot.step = stepped


@pytest.mark.parametrize(
    "results", [[DENIED, ACCEPTED], [None, None, None, None, LATER], [DENIED, ACCEPTED, None]]
)
def test_a_message_answered_now_and_then_stays_with_the_command(results) -> None:
    run = Run(Autopilot({**needed(), ID["VFR_HUD"]: 0.0}, complies=False))
    # Something has been answered before, so the command as such is known to work.
    run.autopilot.rates[ID["SYSTEM_TIME"]] = 0.0
    answers_in_turn(run, ID["VFR_HUD"], results)
    log = run.go(900)
    assert [number for _, number, _ in commands(log)].count(ID["VFR_HUD"]) > 20
    assert streams(log) == []


def test_after_a_message_came_for_long_the_back_off_restarts() -> None:
    run = Run(Autopilot({**needed(), ID["VFR_HUD"]: 0.0}, complies=False))
    run.autopilot.default = LATER
    for _ in range(2):
        run.autopilot.rates[ID["VFR_HUD"]] = 0.0
        times = [at for at, _, _ in commands(run.go(60))]
        gaps = [b - a for a, b in itertools.pairwise(times)]
        assert gaps[:4] == pytest.approx([1, 2, 4, 8], abs=1.5 * TICK_S)
        run.autopilot.rates[ID["VFR_HUD"]] = 4.0
        run.go(60)


def test_a_group_is_requested_once_for_all_its_messages() -> None:
    run = Run(Autopilot({}))
    run.autopilot.default = None
    log = run.go(60)
    assert sorted(group for _, group, _ in streams(log)) == sorted(STREAMS)
    assert len(commands(log)) == requests.UNANSWERED


def test_the_effect_of_a_group_request_is_awaited() -> None:
    run = Run(Autopilot({**needed(), ID["VFR_HUD"]: 0.0}, streams=False))
    run.autopilot.default = DENIED
    times = [at for at, _, _ in streams(run.go(200))]
    assert len(times) > 5
    gaps = [b - a for a, b in itertools.pairwise(times)]
    assert min(gaps) >= rates.WINDOW_S
    assert max(gaps) <= rates.BACKOFF_MOST_S + 2 * TICK_S


def test_another_autopilot_is_observed_before_requests() -> None:
    requester = Requests()
    sent = {(7, 1): [], (8, 1): []}
    for n in range(200):
        followed = (7, 1) if n < 100 else (8, 1)
        requester.observe(frames([frame(0, sender=sender) for sender in sent]), n * TICK_S)
        got = read(requester.due(n * TICK_S, *followed))
        sent[followed] += [(n * TICK_S, m) for m in got if m.get_type() != "HEARTBEAT"]
    for begin, (followed, log) in zip((0.0, 20.0), sent.items(), strict=True):
        assert log[0][0] >= begin + rates.WINDOW_S
        assert {(m.target_system, m.target_component) for _, m in log} == {followed}


@pytest.mark.slow
def test_a_day_without_an_answer() -> None:
    requester, sent_s = Requests(), []
    some = frames([frame(0)])
    for now_s in range(86_400):
        requester.observe(some, now_s)
        if any(m.get_type() != "HEARTBEAT" for m in read(requester.due(now_s, SYSTEM, COMPONENT))):
            sent_s.append(now_s)
    late = [at for at in sent_s if at >= 43_200]
    assert len(late) > 43_200 / rates.BACKOFF_MOST_S / 2
    assert len(late) <= len(PLAIN) * 43_200 / rates.BACKOFF_MOST_S


def test_memory_does_not_grow() -> None:
    requester = Requests()
    requester.due(0.0, SYSTEM, COMPONENT)
    some = frames([frame(ID["ATTITUDE"])])
    for n in range(2000):
        requester.observe(some, n * 0.05)
    kept = sum(len(one.counts) for one in requester.wanted.values())
    assert kept <= math.ceil(rates.WINDOW_S / 0.05) + 1
