"""A relay's head alone, at the very moments and amounts where its word changes.

Expected times and amounts are reckoned by hand from the limits of the contract.
"""

import pytest

from slackwater.facts.messages import (
    Beat,
    Channel,
    LastRun,
    RelayTrouble,
    Result,
    RunPump,
)
from slackwater.facts.relays import PULSES_A_DAY
from slackwater.pump.relay import CONFIRM_S, Post, RelayHead, Said
from tests.pump.relays import BOOT, NODE, RELAY

# It took charge at 100 s; most of what follows happens at 1000 s.
BEGUN_S, NOW_S, OVER_S = 100.0, 1000.0, 1002.0
HOUR_S = 3600
OFF = Post(topic="workshop/relay-3/do", payload=b'{"on":false}')
ASK = Post(topic="workshop/relay-3/ask", payload=b"", asks=True)


def head(
    before_ul: int = 0, before_pulses: int = 0, begun_s: float = BEGUN_S
) -> RelayHead:
    """A relay of which nothing was heard yet."""
    return RelayHead(
        node=NODE,
        relay=RELAY,
        channel="a",
        boot=BOOT,
        begun_s=begun_s,
        before_ul=before_ul,
        before_pulses=before_pulses,
    )


def quiet() -> RelayHead:
    """Seen off and asked at 1000 s."""
    here = head()
    here.hear(is_on=False, now_s=NOW_S)
    here.due(NOW_S)
    return here


def asked(here: RelayHead, ul: int = 1000, ms: int = 2000, up: int = 10**9) -> RunPump:
    """A pulse of 1000 µL in 2 s."""
    return RunPump(
        node="plug",
        channel="a",
        attempt="5f" * 16,
        boot=BOOT,
        n=here.n,
        fence=3,
        ul=ul,
        ms=ms,
        cut_ms=ms,
        until_up=up,
        cal="77aa01cf",
    )


def pulsing(ms: int = 2000, *, seen: bool = True) -> RelayHead:
    """Pulsing since 1000 s, and seen on a tenth of a second later."""
    here = quiet()
    assert "" == here.take(asked(here, ms=ms), NOW_S)
    if seen:
        here.hear(is_on=True, now_s=NOW_S + 0.1)
    return here


def channel(said: list[Said]) -> Channel:
    """What the last beat among these says."""
    return [one for one in said if isinstance(one, Beat)][-1].channels["a"]


def state(here: RelayHead, now_s: float, *, is_on: bool = False) -> str:
    """The state it shows after hearing this."""
    return channel(here.hear(is_on=is_on, now_s=now_s)).state


def word(phase: str, reason: str, now_s: float, ul: int = 0, ran_ms: int = 0) -> Result:
    """A result of that pulse."""
    return Result(
        node="plug",
        id="5f" * 16,
        boot=BOOT,
        channel="a",
        n=0,
        phase=phase,  # type: ignore[arg-type]  # a table of words
        ran_ms=ran_ms,
        ul=ul,
        reason=reason,
        cal="" if phase == "refused" else "77aa01cf",
        up=round((now_s - BEGUN_S) * 1000),
    )


def test_the_first_beat_says_all_of_a_relay_at_rest() -> None:
    """Up since it took charge, no fence, the whole room of a day; then the next."""
    here = head()
    rest = Channel(n=0, state="idle", odo_ul=0, odo_ms=0, budget_ul=100_000, last=None)
    beat = Beat(
        node="plug",
        boot=BOOT,
        up=900_000,
        seq=1,
        hold=False,
        fence=0,
        hw="timed-relay",
        cfg=RELAY.digest,
        channels={"a": rest},
        heard_boot_s=NOW_S,
    )
    assert [beat] == here.hear(is_on=False, now_s=NOW_S)
    (second,) = here.hear(is_on=False, now_s=NOW_S)
    assert isinstance(second, Beat)
    assert 2 == second.seq


def test_it_asks_after_four_seconds_and_beats_after_five() -> None:
    """At rest, from the first second on, and not before."""
    here = head(begun_s=0.0)
    assert (4.0, []) == (here.next_s(), here.due(3.9))
    assert [ASK] == here.due(4.0)
    assert 5.0 == here.next_s()
    assert [] == here.due(5.0)
    here.hear(is_on=False, now_s=NOW_S)
    assert [ASK] == here.due(NOW_S + 4.9)
    (beat,) = here.due(NOW_S + 5.0)
    assert isinstance(beat, Beat)


def test_a_new_head_rests_at_once() -> None:
    """Nothing was given that it would have to wait for."""
    assert "idle" == state(head(begun_s=0.0), 0.5)


@pytest.mark.parametrize(("now_s", "offs"), [(0.9, []), (1.0, [OFF])])
def test_off_is_told_once_a_second_at_the_most(now_s: float, offs: list[Post]) -> None:
    """Also when it is the first word ever."""
    here = head(begun_s=0.0)
    said = here.hear(is_on=True, now_s=now_s)
    assert offs == [one for one in said if isinstance(one, Post)]


@pytest.mark.parametrize(
    ("since_s", "budget_ul"),
    [(25 * HOUR_S - 1, 99_500), (25 * HOUR_S, 100_000)],
)
def test_what_was_before_counts_for_a_day_and_the_rest_of_an_hour(
    since_s: int, budget_ul: int
) -> None:
    """Twenty-four whole hours, whenever in their hour they began."""
    here = head(before_ul=500, before_pulses=1)
    said = here.hear(is_on=False, now_s=BEGUN_S + since_s)
    assert budget_ul == channel(said).budget_ul


@pytest.mark.parametrize(
    ("before_ul", "before_pulses", "budget_ul"),
    [
        (0, 0, 100_000),
        (100, 1, 99_900),
        (100, PULSES_A_DAY - 1, 99_900),
        (100, PULSES_A_DAY, 0),
        (100_001, 1, 0),
    ],
)
def test_room_is_what_pulses_and_volume_leave(
    before_ul: int, before_pulses: int, budget_ul: int
) -> None:
    """Never below nothing; and the last pulse of a day is one."""
    here = head(before_ul, before_pulses)
    assert budget_ul == channel(here.hear(is_on=False, now_s=NOW_S)).budget_ul


@pytest.mark.parametrize("before", [0, 1])
def test_pulses_of_the_first_hour_are_counted_one_by_one(before: int) -> None:
    """As many as a day has, with those before; the next is none."""
    here, now_s = head(before, before), BEGUN_S
    for _ in range(PULSES_A_DAY - before):
        here.hear(is_on=False, now_s=now_s)
        assert "" == here.take(asked(here, ul=10), now_s)
        here.hear(is_on=False, now_s=now_s + 2)
        now_s += 50
    here.hear(is_on=False, now_s=now_s)
    assert "budget" == here.take(asked(here, ul=10), now_s)


@pytest.mark.parametrize("empty_pulses", [2, PULSES_A_DAY - 1])
def test_pulses_before_are_forgotten_with_their_volume(empty_pulses: int) -> None:
    """After the same day, all of them."""
    here = head(500, empty_pulses)
    spent, now_s = 0, BEGUN_S + 25 * HOUR_S
    for _ in range(PULSES_A_DAY):
        here.hear(is_on=False, now_s=now_s)
        spent += here.take(asked(here, ul=10), now_s) == ""
        here.hear(is_on=False, now_s=now_s + 2)
        now_s += 50
    assert PULSES_A_DAY == spent


def test_pulses_before_still_count_in_the_last_hour() -> None:
    """The empty ones among them too."""
    here = head(500, PULSES_A_DAY)
    said = here.hear(is_on=False, now_s=BEGUN_S + 25 * HOUR_S - 1)
    assert 0 == channel(said).budget_ul


@pytest.mark.parametrize(
    ("ul", "ms", "up", "expected"),
    [
        (1000, 2000, 900_000, ""),
        (1000, 2000, 899_999, "late"),
        (100_000, 2000, 10**9, ""),
        (100_001, 2000, 10**9, "budget"),
        (1, 1, 10**9, ""),
        (1000, 20_000, 10**9, ""),
        (1000, 20_001, 10**9, "limit"),
    ],
)
def test_limits_themselves_are_allowed(
    ul: int, ms: int, up: int, expected: str
) -> None:
    """Deadline, room of a day, longest and shortest pulse; one beyond is not."""
    here = quiet()
    assert expected == here.take(asked(here, ul, ms, up), NOW_S)


@pytest.mark.parametrize(("age_s", "expected"), [(10.0, ""), (10.5, "held")])
def test_off_is_believed_for_ten_seconds(age_s: float, expected: str) -> None:
    """After that nobody knows."""
    here = quiet()
    assert expected == here.take(asked(here), NOW_S + age_s)


def test_a_relay_that_said_nothing_is_not_known() -> None:
    """However young the daemon is."""
    here = head(begun_s=0.0)
    assert "held" == here.take(asked(here), 5.0)


def test_what_was_taken_back_gives_its_room_back() -> None:
    """Volume and number."""
    here = quiet()
    here.take(asked(here), NOW_S)
    here.undo()
    shown = channel(here.hear(is_on=False, now_s=NOW_S))
    assert (0, 100_000) == (shown.n, shown.budget_ul)


def test_results_say_all_of_a_pulse() -> None:
    """Refused without a calibration; taken and complete with it, once each."""
    here = quiet()
    assert word("refused", "held", NOW_S) == here.refused(asked(here), "held", NOW_S)
    here.take(asked(here), NOW_S)
    taken = here.hear(is_on=True, now_s=NOW_S + 0.5)
    assert word("taken", "", NOW_S + 0.5) == taken[0]
    assert 1 == len(here.hear(is_on=True, now_s=NOW_S + 0.6))
    ended = here.hear(is_on=False, now_s=OVER_S)
    assert word("ended", "complete", OVER_S, 1000, 2000) == ended[0]
    assert (1000, 2000) == (channel(ended).odo_ul, channel(ended).odo_ms)


def test_posts_that_switch_ask_for_no_answer() -> None:
    """Only a question does."""
    here = quiet()
    assert [False, False] == [here.pulse(asked(here)).asks, here.stop().asks]


def test_it_rests_for_the_longest_pulse_and_half_a_minute() -> None:
    """20 s and 30 s from its beginning, to the moment."""
    here = pulsing()
    here.hear(is_on=False, now_s=OVER_S)
    assert "starting" == state(here, NOW_S + 49.9)
    assert "idle" == state(here, NOW_S + 50.0)


def test_an_old_word_of_off_ends_no_pulse() -> None:
    """Told to be on, and not yet seen on: off may be from before; its time ends it."""
    here = pulsing(seen=False)
    assert "running" == state(here, NOW_S + 0.5)
    assert "starting" == state(here, OVER_S)


def test_a_pulse_that_ends_early_by_itself_is_charged_in_full() -> None:
    """Nobody told it to: no part is given back."""
    here = pulsing()
    ended = here.hear(is_on=False, now_s=NOW_S + 1.0)
    assert word("ended", "complete", NOW_S + 1.0, 1000, 2000) == ended[0]


@pytest.mark.parametrize(
    ("now_s", "reason", "ul", "ran_ms"),
    [(NOW_S + 0.5, "stopped", 250, 500), (OVER_S, "complete", 1000, 2000)],
)
def test_a_stop_counts_until_its_time_is_over(
    now_s: float, reason: str, ul: int, ran_ms: int
) -> None:
    """At its end it is complete."""
    here = pulsing()
    here.stop()
    assert (
        word("ended", reason, now_s, ul, ran_ms)
        == here.hear(is_on=False, now_s=now_s)[0]
    )


def test_questions_come_at_its_end_and_then_quickly() -> None:
    """At the end, each 0.4 s after it, and the verdict 1.9 s after it."""
    here = pulsing()
    here.hear(is_on=True, now_s=NOW_S + 1)
    assert OVER_S == here.next_s()
    assert [ASK] == here.due(OVER_S)
    assert pytest.approx(OVER_S + 0.4) == here.next_s()
    assert [ASK] == here.due(OVER_S + 1.6)
    assert OVER_S + CONFIRM_S == here.next_s()


def test_questions_go_on_in_a_long_pulse() -> None:
    """Every four seconds, as at rest."""
    assert NOW_S + 4.0 == pulsing(20_000).next_s()


def test_a_stuck_pulse_is_found_at_once_and_told_off_each_second() -> None:
    """At 1.9 s after its end, once; off then, and each second from then on."""
    here, found_s = pulsing(), OVER_S + CONFIRM_S
    here.due(found_s - 0.1)
    here.hear(is_on=True, now_s=found_s - 0.1)
    trouble = RelayTrouble(
        node="plug", attempt="5f" * 16, said="it is still on after its time"
    )
    assert [trouble, OFF] == here.due(found_s)
    here.due(found_s + 0.7)
    assert pytest.approx(found_s + 1.0) == here.next_s()
    assert OFF in here.due(found_s + 1.0)


def stray() -> tuple[RelayHead, list[Said]]:
    """On again at 1010 s after a sound pulse, and what it said of that."""
    here = pulsing()
    here.hear(is_on=False, now_s=OVER_S)
    here.due(NOW_S + 9.5)
    return here, here.hear(is_on=True, now_s=NOW_S + 10)


def test_on_without_a_pulse_is_told_off_and_counted_at_its_end() -> None:
    """3 s of 1000 µL in 2 s are 1500 µL more, in the result and in the odometer."""
    here, said = stray()
    trouble = RelayTrouble(
        node="plug", attempt="5f" * 16, said="it is on without a pulse"
    )
    assert [trouble, OFF] == said[:2]
    assert "fault" == channel(said).state
    assert NOW_S + 11 == here.next_s()
    assert [OFF] == here.due(NOW_S + 11)
    assert 1 == len(here.hear(is_on=True, now_s=NOW_S + 12))
    ended = here.hear(is_on=False, now_s=NOW_S + 13)
    assert word("ended", "fault", NOW_S + 13, 2500, 5000) == ended[0]
    last = LastRun(id="5f" * 16, ul=2500, ran_ms=5000, reason="fault", cal="77aa01cf")
    shown = channel(ended)
    assert (2500, 5000, last) == (shown.odo_ul, shown.odo_ms, shown.last)


def test_on_before_any_pulse_belongs_to_none() -> None:
    """Trouble without a pulse, and nothing to raise."""
    here = quiet()
    said = here.hear(is_on=True, now_s=NOW_S + 10)
    trouble = RelayTrouble(node="plug", attempt="", said="it is on without a pulse")
    assert trouble == said[0]
    (beat,) = here.hear(is_on=False, now_s=NOW_S + 13)
    assert 0 == channel([beat]).odo_ul


def test_on_after_a_pulse_that_nobody_saw_raises_what_was_asked() -> None:
    """That one was settled as lost, as asked; what flowed then comes on top."""
    here = pulsing(seen=False)
    here.hear(is_on=False, now_s=OVER_S)
    here.hear(is_on=True, now_s=NOW_S + 10)
    ended, beat = here.hear(is_on=False, now_s=NOW_S + 13)
    assert isinstance(ended, Result)
    assert (2500, "fault") == (ended.ul, ended.reason)
    assert 2500 == channel([beat]).odo_ul


def test_its_time_goes_on_with_every_word_from_its_first() -> None:
    """Three words of the relay at the very start: 1, 2 and 3 ms."""
    here = head()
    told = [here.hear(is_on=is_on, now_s=BEGUN_S) for is_on in (False, True, False)]
    beats = [[one.up for one in said if isinstance(one, Beat)] for said in told]
    assert [[1], [2], [3]] == beats
