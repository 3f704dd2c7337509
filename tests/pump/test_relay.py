"""A timed relay as a pump node: sound, and with each of its faults."""

import random
from collections.abc import Sequence

import pytest

from demo.reef.relay import BETWEEN_MS, FAULTS, LATE_MS, Fault
from slackwater.facts.messages import Beat, RelayTrouble, Result
from slackwater.facts.relays import EXECUTIONS, PULSES_A_DAY, REST_S
from slackwater.facts.sight import Sight, see
from slackwater.pump.relay import CONFIRM_S, OFF_AGAIN_S, Post, Said
from tests.pump.relays import BOOT, CEILING_MS, DAY_S, NODE, RELAY, Scene, scene

# Beyond a pulse's own time, whatever is wrong is found within this.
FOUND_WITHIN_MS = 2_000


def test_a_sound_pulse_is_taken_and_ends_complete() -> None:
    """Seen on, seen off: the whole amount, and the odometer knows."""
    here = scene()
    assert "" == here.pulse()
    here.wait(3_000)
    assert [("taken", ""), ("ended", "complete")] == [
        (one.phase, one.reason) for one in here.results()
    ]
    channel = here.beat().channels["a"]
    assert (1, 1_000, 2_000) == (channel.n, channel.odo_ul, channel.odo_ms)
    assert [(2_000, 1_000)] == [
        (end - begin, here.results()[-1].ul) for begin, end in here.device.spans
    ]
    assert [] == here.troubles()


def test_its_pulse_is_written_by_the_template() -> None:
    """Milliseconds and seconds, never longer than asked."""
    seconds = RELAY.__class__(
        on_topic="t",
        on_payload='{"run": "{s}"}',
        off_topic="t",
        off_payload="off",
        state_topic="u",
    )
    assert b'{"on":true,"ms":1207}' == RELAY.pulse(1_207)
    assert b'{"run": "1.207"}' == seconds.pulse(1_207)


def test_a_second_on_does_not_extend() -> None:
    """What the device ignores, the head never even sends."""
    here = scene()
    here.pulse()
    here.wait(500)
    assert "busy" == here.pulse()
    here.wait(4_000)
    assert 2_000 == here.device.on_ms(here.now_ms)


def test_the_longest_pulse_and_half_a_minute_lie_between_two() -> None:
    """Until then its beats say that it is not ready."""
    here = scene()
    here.pulse()
    here.wait(CEILING_MS + round(REST_S * 1000) - 1_000)
    assert ("starting", "held") == (here.beat().channels["a"].state, here.pulse())
    here.wait(7_000)
    assert ("idle", "") == (here.beat().channels["a"].state, here.pulse())


def test_twenty_four_pulses_are_a_day() -> None:
    """The room is gone after them, and comes back by the hour."""
    here = scene()
    given = 0
    for _ in range(40):
        given += here.pulse(ul=10, ms=200) == ""
        here.wait(60_000)
    assert PULSES_A_DAY == given
    assert 0 == here.beat().channels["a"].budget_ul
    here.leap(25 * 3_600_000)
    assert "" == here.pulse(ul=10, ms=200)


def test_what_it_gave_before_the_start_counts_for_a_day() -> None:
    """Pulses and volume by the ledger: a restart gives no room back."""
    full = Scene(device=scene().device, now_ms=0, before=(100, PULSES_A_DAY))
    assert 0 == full.beat().channels["a"].budget_ul
    assert "budget" == full.pulse(ul=10, ms=200)
    full.leap(25 * 3_600_000)
    assert "" == full.pulse(ul=10, ms=200)
    part = Scene(device=scene().device, now_ms=0, before=(90_000, 3))
    assert 10_000 == part.beat().channels["a"].budget_ul
    assert "budget" == part.pulse(ul=10_001, ms=200)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"boot": "0" * 16}, "boot"),
        ({"n": 7}, "number"),
        ({"until_up": 5}, "late"),
        ({"ms": CEILING_MS + 1}, "limit"),
        ({"ms": 0}, "limit"),
        ({"ul": 100_001}, "budget"),
    ],
)
def test_what_a_node_would_refuse_is_refused(
    changes: dict[str, object], word: str
) -> None:
    """One word each, nothing told to the relay, no number used."""
    here = scene()
    assert word == here.pulse(**changes)  # type: ignore[arg-type]  # a table of fields
    assert (0, 0) == (here.head.n, here.device.on_ms(here.now_ms))


def test_nothing_is_told_to_a_relay_that_was_not_seen_off() -> None:
    """Without its state in the last ten seconds there is no pulse and no beat."""
    here = scene("lost-state")
    assert "held" == here.pulse()
    assert [] == here.heard or all("ask" in str(said) for _, said in here.heard)


def test_what_was_surely_not_told_is_taken_back() -> None:
    """A connection that is down uses up neither number nor pulse."""
    fresh = scene()
    fresh.pulse()
    fresh.head.undo()
    assert 0 == fresh.head.n
    fresh.wait(100_000)
    assert "" == fresh.pulse()


def test_a_stop_ends_it_with_its_part() -> None:
    """The amount follows the time it was on, rounded up."""
    here = scene()
    here.pulse()
    here.wait(500)
    here.stop()
    ended = here.results()[-1]
    assert ("stopped", 500, 250) == (ended.reason, ended.ran_ms, ended.ul)


def test_a_pulse_that_nobody_saw_is_no_result() -> None:
    """Too short to be reported on: the number moved, the odometer counts as asked."""
    here = scene()
    here.pulse()
    here.heard.clear()
    pulse = here.head._pulse  # noqa: SLF001  # as if the word "on" had been lost
    assert pulse is not None
    pulse.seen_on = False
    here.head.hear(is_on=False, now_s=pulse.over_s + 0.1)
    assert [] == here.results()
    here.wait(6_000)
    channel = here.beat().channels["a"]
    assert (1, 1_000, None) == (channel.n, channel.odo_ul, channel.last)


def test_a_relay_that_sticks_is_found_two_seconds_after_its_time() -> None:
    """Found, told to be off each second, running in every beat; charged as it ran."""
    here = scene("stuck-on")
    begin_ms = here.now_ms
    here.pulse()
    here.wait(6_000)
    ((found_ms, said),) = here.troubles()
    assert found_ms - begin_ms - 2_000 <= FOUND_WITHIN_MS
    assert "still on" in said
    assert "running" == here.beat().channels["a"].state
    offs = [
        said
        for _, said in here.heard
        if getattr(said, "payload", b"") == b'{"on":false}'
    ]
    assert len(offs) >= 2
    here.device.faults = frozenset()
    here.wait(1_500)
    ended = here.results()[-1]
    assert ("fault", here.device.on_ms(here.now_ms) // 2) == (ended.reason, ended.ul)


def test_a_relay_a_little_late_is_charged_in_full() -> None:
    """Off before the two seconds are over: no trouble, and never less than asked."""
    here = scene("late-off")
    here.pulse()
    here.wait(4_000)
    assert [] == here.troubles()
    assert 2_000 + LATE_MS == here.device.on_ms(here.now_ms)
    assert 1_000 <= here.results()[-1].ul


def test_a_state_that_gets_lost_in_a_pulse_is_trouble() -> None:
    """Nobody told that it is off, so it may be on."""
    here = scene()
    begin_ms = here.now_ms
    here.pulse()
    here.device.faults = frozenset({"lost-state"})
    here.wait(5_000)
    ((found_ms, _),) = here.troubles()
    assert found_ms - begin_ms - 2_000 <= FOUND_WITHIN_MS


def test_a_pulse_that_comes_twice_is_cut_and_counted() -> None:
    """On without a pulse: off at once, latched, and the charge follows what flowed."""
    here = scene("double-pulse")
    here.pulse()
    here.wait(2_000 + BETWEEN_MS + 1_000)
    assert ["it is on without a pulse"] == [said for _, said in here.troubles()]
    on_ms = here.device.on_ms(here.now_ms)
    assert 2_000 <= on_ms <= 2 * 2_000
    assert on_ms // 2 <= here.results()[-1].ul


@pytest.mark.parametrize("earlier_ul", [0, 3_000])
def test_what_flows_after_a_pulse_that_nobody_saw_is_counted_to_it(
    earlier_ul: int,
) -> None:
    """As asked and what it was on for, whatever a pulse before it gave."""
    here = scene()
    if earlier_ul:
        here.pulse(ul=earlier_ul, ms=2 * earlier_ul)
        here.wait(60_000)
    here.pulse(ul=1_000, ms=2_000)
    pulse = here.head._pulse  # noqa: SLF001  # as if the word "on" had been lost
    assert pulse is not None
    pulse.seen_on = False
    end_s = pulse.over_s + 0.1
    said = here.head.hear(is_on=False, now_s=end_s)
    assert [] == [one for one in said if isinstance(one, Result)]
    here.head.hear(is_on=True, now_s=end_s + 5)
    said = here.head.hear(is_on=False, now_s=end_s + 6)
    (result,) = [one for one in said if isinstance(one, Result)]
    (beat,) = [one for one in said if isinstance(one, Beat)]
    last = beat.channels["a"].last
    assert last is not None
    assert (pulse.command.attempt, 1_500, "fault") == (
        result.id,
        result.ul,
        result.reason,
    )
    assert (result.id, 1_500, 3_000) == (last.id, last.ul, last.ran_ms)
    assert earlier_ul + 1_500 == beat.channels["a"].odo_ul


def test_h27_what_was_heard_before_the_last_beat_contradicts_nothing() -> None:
    """The word "off" lay in the mailbox while time alone led to a beat."""
    here = scene()
    here.pulse(ms=5_500)
    sight, due_s = Sight(started_boot_s=0.0), here.now_ms / 1000 + 5.6
    for one in [*here.head.due(due_s), *here.head.hear(is_on=False, now_s=due_s - 0.1)]:
        if isinstance(one, Beat):
            see(sight, one)
    seen = sight.nodes["plug"]
    assert (2, None) == (seen.beats, seen.contradiction)
    assert 1_000 == seen.beat.channels["a"].odo_ul


def test_a_relay_that_stays_on_by_itself_is_told_off_again_and_again() -> None:
    """Nothing was ever given: nothing can be counted, and the trouble is told once."""
    head, now_s = scene().head, DAY_S + 10.0
    first = head.hear(is_on=True, now_s=now_s)
    offs = [now_s] if off_told(first) else []
    said = list(first)
    for tenths in range(1, 51):
        at_s = now_s + tenths / 10
        told = head.due(at_s)
        offs += [at_s] if off_told(told) else []
        said += [*told, *head.hear(is_on=True, now_s=at_s)]
    assert [round(now_s + count * OFF_AGAIN_S, 1) for count in range(6)] == offs
    said += head.hear(is_on=False, now_s=now_s + 5.1)
    assert ["it is on without a pulse"] == [
        one.said for one in said if isinstance(one, RelayTrouble)
    ]
    assert [] == [one for one in said if isinstance(one, Result)]
    assert [] == [one for one in head.due(now_s + 8.0) if off_told([one])]
    (beat,) = [
        one
        for one in head.hear(is_on=False, now_s=now_s + 8.0)
        if isinstance(one, Beat)
    ]
    assert 0 == beat.channels["a"].odo_ul


def off_told(said: Sequence[Said]) -> bool:
    """Whether it was told to be off."""
    off = RELAY.off_payload.encode()
    return any(isinstance(one, Post) and one.payload == off for one in said)


def test_a_stop_at_rest_is_told_and_changes_nothing() -> None:
    """It is safe to repeat: the next pulse is given whole."""
    here = scene()
    here.stop()
    here.pulse()
    here.wait(3_000)
    assert [("taken", 0), ("ended", 1_000)] == [
        (one.phase, one.ul) for one in here.results()
    ]


def test_a_pulse_that_is_not_taken_is_answered_with_the_word() -> None:
    """As a node would: the attempt, refused, and nothing that flowed."""
    here = scene()
    here.pulse()
    here.wait(3_000)
    command = here.command(n=7)
    answer = here.head.refused(command, "number", here.now_ms / 1000)
    assert (command.attempt, "refused", "number", 0, 0) == (
        answer.id,
        answer.phase,
        answer.reason,
        answer.ul,
        answer.ran_ms,
    )


def test_a_relay_with_one_pulse_gives_that_one_alone() -> None:
    """Any other length is beyond its limits."""
    here = scene(fixed=True)
    assert "limit" == here.pulse(ms=2_000)
    assert "" == here.pulse(ul=10_000, ms=CEILING_MS)
    here.wait(CEILING_MS + 1_000)
    assert ("complete", 10_000) == (here.results()[-1].reason, here.results()[-1].ul)


def _flows(seed: int) -> tuple[int, int]:
    """The most that one pulse let out, and the cap of one dose it was sized for."""
    chance = random.Random(seed)  # noqa: S311  # no secret
    fault: Fault = chance.choice([one for one in FAULTS if one != "stuck-on"])
    here = scene(fault) if fault != "lost-state" else scene()
    ms = chance.randrange(200, CEILING_MS + 1)
    ul = -(-ms // 2)  # run times are rounded down from amounts
    per_dose_ul = EXECUTIONS * ul
    before_ms = here.device.on_ms(here.now_ms)
    assert "" == here.pulse(ul=ul, ms=ms)
    if fault == "lost-state":
        here.device.faults = frozenset({fault})
    here.wait(3 * ms + 5_000)
    # Lateness comes on top: only a pulse shorter than that can pass its double by it.
    late_ms = max(0, LATE_MS - ms) if fault == "late-off" else 0
    return (here.device.on_ms(here.now_ms) - before_ms - late_ms) // 2, per_dose_ul


def test_two_executions_of_any_pulse_stay_within_the_cap_of_one_dose() -> None:
    """Two hundred pulses of any length, each with a fault of the relay."""
    for seed in range(200):
        flowed_ul, per_dose_ul = _flows(seed)
        assert flowed_ul <= per_dose_ul


def test_a_stuck_relay_of_any_pulse_is_found_in_two_seconds() -> None:
    """Whatever the length of the pulse."""
    for seed in range(100):
        chance = random.Random(seed)  # noqa: S311  # no secret
        here = scene("stuck-on")
        begin_ms, ms = here.now_ms, chance.randrange(200, CEILING_MS + 1)
        here.pulse(ul=ms, ms=ms)
        here.wait(ms + 4_000)
        assert here.troubles()[0][0] - begin_ms - ms <= FOUND_WITHIN_MS
    assert CONFIRM_S * 1000 < FOUND_WITHIN_MS
    assert BOOT == here.beat().boot
    assert NODE.relay is not None
