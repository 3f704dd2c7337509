"""Settling open intents: one test per row of the settle rules."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from slackwater.facts.events import AnyEvent, DoseEnded, DoseIntended
from slackwater.facts.fold import fold, fold_all
from slackwater.facts.messages import Beat, Channel, LastRun, Result, RunPump
from slackwater.facts.plan import DueDose
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import State
from slackwater.pump.outcome import (
    Stamp,
    is_over,
    settle_by_beat,
    settle_by_result,
    settle_by_time,
)

T0 = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
BOOT, OTHER = "9e1b" * 4, "aaaa" * 4
ATTEMPT = "5f" * 16
LATER: Stamp = {"at": T0 + timedelta(seconds=20), "boot_s": 1020.0, "proven_ms": 21_000}
LATEST = T0 + timedelta(minutes=15)


def intent() -> DoseIntended:
    """2000 µL asked of channel a, number 4, deadline at uptime 131 456 ms."""
    dose = DueDose(
        id="reef/carbonate@2026-05-03#07",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=date(2026, 5, 3),
        ordinal=7,
        due_at=T0,
        latest_at=LATEST,
        volume_ul=2000,
    )
    command = RunPump(
        node="shelf",
        channel="a",
        attempt=ATTEMPT,
        boot=BOOT,
        n=4,
        fence=3,
        ul=2000,
        ms=1210,
        cut_ms=1400,
        until_up=131_456,
        cal="77aa01cf",
    )
    return DoseIntended(
        at=T0,
        boot_s=1000.0,
        proven_ms=1000,
        dose=dose,
        dose_kind="plan",
        command=command,
        planned_ul=2000,
        solution="carbonate",
        local_day=dose.local_day,
        odo_ul=12_000,
        flow_end_ms=10_500,
        effects={"alkalinity": 3_774_020_000},
    )


def opened() -> State:
    """A state with that one open intent."""
    state = State(stage="live")
    fold(state, intent())
    return state


def beat(n: int, *, up: int = 130_000, boot: str = BOOT, **channel: object) -> Beat:
    """A beat of the node with this next number."""
    fields: dict[str, object] = {
        "n": n,
        "state": "idle",
        "odo_ul": 12_000,
        "odo_ms": 7000,
        "budget_ul": 88_000,
    }
    fields.update(channel)
    return Beat(
        node="shelf",
        boot=boot,
        up=up,
        seq=1,
        hold=False,
        fence=3,
        hw="virtual-1",
        cfg="0badcafe",
        channels={"a": Channel(**fields)},  # type: ignore[arg-type]  # test fields
        heard_boot_s=1020.0,
    )


def result(phase: str, ul: int = 2000, reason: str = "complete") -> Result:
    """A word of the node about the command."""
    return Result(
        node="shelf",
        id=ATTEMPT,
        boot=BOOT,
        channel="a",
        n=4,
        phase=phase,  # type: ignore[arg-type]  # test table
        ran_ms=1207,
        ul=ul,
        reason=reason,
        cal="77aa01cf",
        up=124_710,
    )


def kinds(events: list[AnyEvent]) -> list[str]:
    """The kinds of events, with how a dose ended."""
    return [
        f"{event.kind}:{event.how}" if event.kind == "dose_ended" else event.kind
        for event in events
    ]


def charged(state: State) -> int:
    """What the pump is charged with in this proven day, in µL."""
    return state.charges["pump/carbonate"].since(-DAY_MS)


@pytest.mark.parametrize(
    ("heard", "expected"),
    [
        (beat(4, up=131_456), []),
        (beat(4, up=131_457), ["dose_voided"]),
        (beat(4, boot=OTHER), ["dose_sealed"]),
        (beat(5, state="running"), ["dose_taken"]),
        (beat(5, odo_ul=14_000), ["dose_ended:lost"]),
        (beat(6, odo_ul=19_000), ["dose_ended:lost"]),
        (beat(3, up=131_457), ["hold_raised", "dose_sealed"]),
        (beat(3), []),
    ],
)
def test_a_beat_settles_by_boot_number_and_deadline(
    heard: Beat, expected: list[str]
) -> None:
    """Each row of the settle rules; the deadline itself still counts as running."""
    assert expected == kinds(list(settle_by_beat(opened(), heard, LATER)))


@pytest.mark.parametrize(
    ("passed_ms", "expected"), [(8080, []), (8081, ["dose_voided"])]
)
def test_h27_nothing_is_proven_before_the_deadline_by_our_own_clock(
    passed_ms: int, expected: list[str]
) -> None:
    """It is 9.5 s, at a clock slow by 0.2 %, less 1.4 s of the cut: 8081 ms."""
    stamp: Stamp = {**LATER, "proven_ms": 1000 + passed_ms}
    heard = beat(4, up=10**9)
    assert expected == kinds(list(settle_by_beat(opened(), heard, stamp)))


def test_h18_a_lost_result_is_learned_from_the_last_run_of_a_beat() -> None:
    """The amount comes from `last` when it speaks of this very run."""
    last = LastRun(id=ATTEMPT, ul=1990, ran_ms=1204, reason="complete", cal="77aa01cf")
    state = opened()
    fold_all(state, list(settle_by_beat(state, beat(5, last=last), LATER)))
    assert {} == state.open
    assert (1990, 2000) == (state.closed[ATTEMPT].believed_ul, charged(state))


def test_a_taken_run_is_never_voided() -> None:
    """Number unmoved after `taken` cannot be: latched and charged for good."""
    state = opened()
    fold_all(state, list(settle_by_result(state, result("taken", 0, ""), LATER)))
    events = list(settle_by_beat(state, beat(4, up=200_000), LATER))
    assert ["hold_raised", "dose_sealed"] == kinds(events)


@pytest.mark.parametrize("word", ["late", "number", "busy"])
def test_a_refusal_alone_gives_nothing_back(word: str) -> None:
    """Another copy may still run: the charge stays until proof."""
    state = opened()
    events = list(settle_by_result(state, result("refused", 0, word), LATER))
    fold_all(state, events)
    assert ["dose_refused_by_node"] == kinds(events)
    assert 2000 == charged(state)


@pytest.mark.parametrize(
    ("ul", "how", "charge_ul", "latched"),
    [
        (0, "short", 2000, False),
        (1799, "short", 2000, False),
        (1800, "full", 2000, False),
        (2000, "full", 2000, False),
        (2200, "full", 2200, False),
        (2201, "over", 2201, True),
        (20_000, "over", 20_000, True),
    ],
)
def test_h19_h20_charge_is_the_larger_and_much_more_latches(
    ul: int, how: str, charge_ul: int, latched: bool
) -> None:
    """A short report tops nothing up; a tenth and 100 µL over latches the pump."""
    state = opened()
    events = list(settle_by_result(state, result("ended", ul), LATER))
    fold_all(state, events)
    expected = [f"dose_ended:{how}"] + (["hold_raised"] if latched else [])
    assert expected == kinds(events)
    assert (charge_ul, ul) == (charged(state), state.closed[ATTEMPT].believed_ul)


def test_void_gives_the_charge_back_and_nothing_else_does() -> None:
    """After the proof the day and the 24 hours are as before the intent."""
    state = opened()
    fold_all(state, list(settle_by_beat(state, beat(4, up=131_457), LATER)))
    assert 0 == charged(state)
    assert {date(2026, 5, 3): 0} == state.days["effect/reef/alkalinity"]
    assert intent().dose.id in state.used


def test_a_late_report_after_a_seal_only_raises() -> None:
    """A sealed dose is charged as asked; more raises it, less changes nothing."""
    state = opened()
    fold_all(state, list(settle_by_beat(state, beat(0, boot=OTHER), LATER)))
    assert [] == list(settle_by_result(state, result("ended", 500), LATER))
    events = list(settle_by_result(state, result("ended", 2500), LATER))
    fold_all(state, events)
    assert ["charge_raised", "hold_raised"] == kinds(events)
    assert 2500 == charged(state)


def test_silence_seals_only_after_latest_start_and_last_drop() -> None:
    """Until then the intent stays open and charged."""
    state = opened()
    at_latest: Stamp = {"at": LATEST, "boot_s": 1900.0, "proven_ms": 901_000}
    after: Stamp = {**at_latest, "at": LATEST + timedelta(seconds=1)}
    too_soon: Stamp = {**after, "proven_ms": 40_500}
    assert [] == list(settle_by_time(state, at_latest))
    assert [] == list(settle_by_time(state, too_soon))
    assert ["dose_sealed"] == kinds(list(settle_by_time(state, after)))


@pytest.mark.parametrize("change", ["boot", "node"])
def test_h27_a_result_from_elsewhere_latches(change: str) -> None:
    """Our command answered by another boot or node is impossible."""
    said = replace(result("ended"), **{change: "cccc" * 4})  # type: ignore[arg-type]  # one text field each
    assert ["hold_raised"] == kinds(list(settle_by_result(opened(), said, LATER)))


@pytest.mark.parametrize(
    ("reason", "expected"),
    [
        ("complete", ["dose_ended:short", "hold_raised"]),
        ("cut", ["dose_ended:cut", "hold_raised"]),
        ("stopped", ["dose_ended:stopped"]),
    ],
)
def test_h19_three_short_deliveries_latch_the_pump(
    reason: str, expected: list[str]
) -> None:
    """The third in a row, however it ended; a stop on purpose does not count."""
    state = opened()
    state.short_streak["carbonate"] = 2
    events = list(settle_by_result(state, result("ended", 1000, reason), LATER))
    assert expected == kinds(events)


def test_two_short_deliveries_latch_nothing() -> None:
    """Two can be an air bubble."""
    state = opened()
    state.short_streak["carbonate"] = 1
    events = list(settle_by_result(state, result("ended", 1000), LATER))
    assert ["dose_ended:short"] == kinds(events)


def test_a_word_said_twice_is_written_once() -> None:
    """Copies of a refusal, of `taken` and of a running beat lead to nothing more."""
    state = opened()
    fold_all(state, list(settle_by_result(state, result("refused", 0, "late"), LATER)))
    fold_all(state, list(settle_by_result(state, result("taken", 0, ""), LATER)))
    again = [
        *settle_by_result(state, result("refused", 0, "late"), LATER),
        *settle_by_result(state, result("running", 0, ""), LATER),
        *settle_by_beat(state, beat(5, state="running"), LATER),
    ]
    assert [] == again


def test_a_beat_of_another_node_settles_nothing() -> None:
    """Each node speaks for its own runs."""
    other = replace(beat(4, up=200_000), node="cellar")
    assert [] == list(settle_by_beat(opened(), other, LATER))


@pytest.mark.parametrize(
    ("heard", "believed_ul", "source"),
    [
        (beat(5, odo_ul=13_900), 1900, "odometer"),
        (beat(5, odo_ul=12_000), 0, "odometer"),
        (beat(6, odo_ul=13_900), 2000, "asked"),
        (beat(5, odo_ul=11_999), 2000, "asked"),
    ],
)
def test_h18_a_lost_report_is_read_from_the_odometer_if_it_can_tell(
    heard: Beat, believed_ul: int, source: str
) -> None:
    """Only when this run alone moved it, and forwards; else as asked."""
    state = opened()
    events = list(settle_by_beat(state, heard, LATER))
    ended = events[0]
    assert isinstance(ended, DoseEnded)
    assert (believed_ul, source, 2000) == (
        ended.believed_ul,
        ended.source,
        ended.charge_ul,
    )


def test_h20_a_late_report_a_little_above_only_raises() -> None:
    """2100 of 2000 µL are within a tenth: charged, not latched."""
    state = opened()
    fold_all(state, list(settle_by_beat(state, beat(0, boot=OTHER), LATER)))
    events = list(settle_by_result(state, result("ended", 2100), LATER))
    assert ["charge_raised"] == kinds(events)


def test_a_late_word_without_an_amount_changes_nothing() -> None:
    """Taken or refused, of a dose that is closed already."""
    state = opened()
    fold_all(state, list(settle_by_beat(state, beat(0, boot=OTHER), LATER)))
    late = [
        *settle_by_result(state, result("taken", 9999), LATER),
        *settle_by_result(state, result("refused", 9999, "late"), LATER),
    ]
    assert [] == late


@pytest.mark.parametrize(
    ("asked_ul", "reported_ul", "expected"),
    [
        (2000, 2200, False),
        (2000, 2201, True),
        (500, 600, False),
        (500, 601, True),
        (5000, 5500, False),
        (5000, 5501, True),
    ],
)
def test_h20_over_is_more_than_a_tenth_and_more_than_100_ul(
    asked_ul: int, reported_ul: int, *, expected: bool
) -> None:
    """The design law's limits, both of them."""
    assert expected == is_over(asked_ul, reported_ul)


def test_several_open_intents_are_settled_in_order() -> None:
    """Equal inputs give equal outputs, whatever came first."""
    state = opened()
    other = replace(
        intent(), command=replace(intent().command, attempt="00" * 16, channel="b")
    )
    fold(state, other)
    after: Stamp = {**LATER, "at": LATEST + timedelta(seconds=1), "proven_ms": 90_000}
    sealed = [getattr(event, "attempt", "") for event in settle_by_time(state, after)]
    assert ["00" * 16, ATTEMPT] == sealed
