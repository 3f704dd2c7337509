"""H33: a ledger put back with its witness is found by what the nodes counted."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import (
    DoseMissed,
    HoldRaised,
    HoldReleased,
    LedgerRestored,
    Started,
)
from slackwater.facts.fold import fold
from slackwater.facts.messages import Beat
from slackwater.facts.reasons import Code, because
from slackwater.facts.seen_again import inputs_kept
from slackwater.facts.sight import NodeSight, see
from slackwater.facts.state import State
from slackwater.ledger.codec import dump_state, load_state
from slackwater.pump.outcome import Stamp
from tests.gate.scene import beat, machine
from tests.turn.test_step import START, Bench

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
AGAIN = "eeee" * 4


def copy_of(state: State) -> State:
    """What a copy of the ledger would fold to."""
    return load_state(dump_state(state))


def started(bench: Bench, state: State) -> Bench:
    """A daemon that takes charge of this ledger now, and has heard nothing yet."""
    bench.state = state
    bench.state.fence += 1
    bench.sight.nodes.clear()
    return bench


def shown(bench: Bench, **changes: object) -> Beat:
    """What the node would say now."""
    now = bench.now()
    channels = {
        name: replace(channel, n=bench.numbers[name])
        for name, channel in beat().channels.items()
    }
    up = 3_600_000 + int((now.boot_s - 10_000.0) * 1000)
    made = replace(beat(), heard_boot_s=now.boot_s, up=up, channels=channels)
    return replace(made, **changes)  # type: ignore[arg-type]  # fields of one test


def holds_after(bench: Bench, heard: Beat) -> list[str]:
    """The holds that stand when a beat was heard."""
    bench.news.append(heard)
    while bench.step() or bench.news:
        pass
    return sorted(bench.state.holds)


@pytest.mark.parametrize(
    "back", [timedelta(hours=1), timedelta(hours=5), DAY, 3 * DAY], ids=str
)
def test_h33_a_node_that_counted_more_than_the_ledger_holds_everything(
    back: timedelta,
) -> None:
    """A copy of an hour, a day or three days ago; the first beat after the start."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    copy = copy_of(bench.state)
    bench.run_until(START + 2 * HOUR + back)
    given = len(list(bench.intents()))
    started(bench, copy)
    assert [Code.LEDGER_FORGETS] == holds_after(bench, shown(bench))
    bench.run_until(bench.utc + 3 * HOUR)
    assert given == len(list(bench.intents()))
    (hold,) = bench.state.holds.values()
    assert ("all", True) == (hold.scope, hold.latched)
    assert hold.reason.figures["counted"] == bench.numbers["a"]


def test_h33_the_newest_ledger_is_never_doubted() -> None:
    """Every start of it, between any two doses, and with a dose still open."""
    bench = Bench(machine())
    for hour in range(1, 8):
        bench.run_until(START + hour * HOUR)
        started(bench, copy_of(bench.state))
        assert [] == holds_after(bench, shown(bench))
    bench.answers = False
    bench.run_until(bench.utc + timedelta(minutes=1))
    started(bench, copy_of(bench.state))
    assert [] == holds_after(bench, shown(bench))


def other_boot(bench: Bench) -> Beat:
    """The node began anew and ran three times since."""
    channels = {n: replace(c, n=3) for n, c in shown(bench).channels.items()}
    return shown(bench, boot=AGAIN, up=90_000_000, channels=channels)


def fresh_boot(bench: Bench) -> Beat:
    """The node began anew and ran never since."""
    channels = {n: replace(c, n=0) for n, c in shown(bench).channels.items()}
    return shown(bench, boot=AGAIN, up=90_000, channels=channels)


@pytest.mark.parametrize(
    ("told", "expected"),
    [(other_boot, [Code.LEDGER_FORGETS]), (fresh_boot, [])],
)
def test_h33_a_boot_in_which_nothing_is_known_must_have_run_nothing(
    told: Callable[[Bench], Beat], expected: list[str]
) -> None:
    """A reboot alone proves nothing; runs in it do."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    started(bench, copy_of(bench.state))
    assert expected == holds_after(bench, told(bench))


@pytest.mark.parametrize(
    ("fence", "expected"),
    [(9, []), (10, []), (11, [Code.LEDGER_FORGETS]), (19, [Code.LEDGER_FORGETS])],
)
def test_h33_a_fence_that_this_ledger_never_gave_was_another_lifes(
    fence: int, expected: list[str]
) -> None:
    """A copy from before any node was heard: the node obeyed somebody since.

    10 is the fence of the start that the copy knows, 20 of the one after it.
    """
    bench = Bench(machine())
    state = copy_of(bench.state)
    for number in (10, 20):
        start = Started(
            at=START,
            boot_s=10_000.0,
            proven_ms=10**9,
            version="1",
            boot_id="boot",
            fence=number,
            mode="live",
        )
        fold(state, start)
    bench.state = state
    bench.sight.nodes.clear()
    assert expected == holds_after(bench, shown(bench, fence=fence))
    given = list(bench.intents())
    bench.run_until(bench.utc + 3 * HOUR)
    assert bool(expected) == (given == list(bench.intents()))
    released(bench)
    assert [] == holds_after(bench, shown(bench, fence=fence))


def released(bench: Bench) -> None:
    """A person looked, and lets go of the hold."""
    now = bench.now()
    fold(
        bench.state,
        HoldReleased(
            at=now.utc,
            boot_s=now.boot_s,
            proven_ms=10**9,
            hold_id=Code.LEDGER_FORGETS,
            by="keeper",
        ),
    )
    bench.utc += timedelta(seconds=5)


def test_h33_one_release_ends_it_for_good_whatever_channels_counted() -> None:
    """What all counted is on record: the next beat and the next start raise nothing."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    copy = copy_of(bench.state)
    bench.run_until(START + 5 * HOUR)
    started(bench, copy)
    assert [Code.LEDGER_FORGETS] == holds_after(bench, shown(bench))
    figures = bench.state.holds[Code.LEDGER_FORGETS].reason.figures
    assert ("a", bench.numbers["a"]) == (figures["channel"], figures["counted"])
    assert f"b {bench.numbers['b']}" == figures["also"]
    released(bench)
    assert [] == holds_after(bench, shown(bench))
    started(bench, copy_of(bench.state))
    assert [] == holds_after(bench, shown(bench))


def test_h33_after_the_release_a_day_counts_as_given() -> None:
    """Nobody can say what the forgotten runs gave: the caps are used up for a day."""
    sound = machine()
    pumps = {n: replace(pump, per_day_ul=6_000) for n, pump in sound.pumps.items()}
    bench = Bench(replace(sound, pumps=pumps))
    bench.run_until(START + 2 * HOUR)
    copy = copy_of(bench.state)
    bench.run_until(START + 5 * HOUR)
    started(bench, copy)
    holds_after(bench, shown(bench))
    released(bench)
    before = len(list(bench.intents()))
    bench.run_until(bench.utc + 3 * HOUR)
    assert before == len(list(bench.intents()))
    bench.run_until(bench.utc + 19 * HOUR)
    assert before == len(list(bench.intents()))
    # Proven time begins anew with the start on this bench.
    bench.run_until(bench.utc + 8 * HOUR)
    assert before < len(list(bench.intents()))


def test_h33_a_channel_seen_before_its_first_command_is_compared_too() -> None:
    """Put back whole to before that command: what it counted then is on record."""
    bench = Bench(machine())
    bench.hear_beat()
    fold(bench.state, inputs_kept(bench.now(), bench.sight, {}, 10**9))
    copy = copy_of(bench.state)
    started(bench, copy_of(bench.state))
    assert [] == holds_after(bench, shown(bench))
    bench.run_until(START + 5 * HOUR)
    started(bench, copy)
    assert [Code.LEDGER_FORGETS] == holds_after(bench, shown(bench))


def test_h33_a_further_run_counted_while_it_stands_needs_no_release_of_its_own() -> (
    None
):
    """Somebody else's daemon may go on for as long as the hold stands."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    copy = copy_of(bench.state)
    bench.run_until(START + 5 * HOUR)
    started(bench, copy)
    holds_after(bench, shown(bench))
    bench.numbers["a"] += 1
    assert [Code.LEDGER_FORGETS] == holds_after(bench, shown(bench))
    released(bench)
    assert [] == holds_after(bench, shown(bench))


def test_h33_before_pumps_are_enabled_nothing_is_compared() -> None:
    """In shadow no command of ours reaches a node, and its numbers are not ours."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    copy = copy_of(bench.state)
    bench.run_until(START + 5 * HOUR)
    copy.stage = "shadow"
    started(bench, copy)
    assert [] == holds_after(bench, shown(bench))


def test_h33_a_late_beat_of_an_earlier_boot_says_nothing() -> None:
    """Only the boot that is seen now is compared."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    started(bench, copy_of(bench.state))
    first = fresh_boot(bench)
    bench.sight.nodes["shelf"] = NodeSight(
        beat=first,
        first_heard_boot_s=first.heard_boot_s,
        beats=9,
        earlier={"beef" * 4: (10**9, 10**9)},
    )
    late = shown(bench, boot="beef" * 4, up=5)
    see(bench.sight, late)
    assert [] == holds_after(bench, late)


def put_back(bench: Bench, state: State) -> Bench:
    """The daemon starts on a backup, as `slackwater restore` leaves it."""
    now = bench.now()
    mark: Stamp = {"at": now.utc, "boot_s": now.boot_s, "proven_ms": 2 * 10**9}
    fold(
        state,
        LedgerRestored(
            **mark,
            made_at=START,
            entries=9,
            boot_id="boot",
            answered=False,
            by="keeper",
        ),
    )
    fold(
        state,
        HoldRaised(
            **mark,
            hold_id=Code.LEDGER_RESTORED,
            scope="all",
            reason=because(Code.LEDGER_RESTORED),
            latched=True,
        ),
    )
    return started(bench, state)


def test_h33_a_restored_ledger_doses_nothing_until_a_person_looked() -> None:
    """Hours of due doses pass, and no command leaves."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    copy = copy_of(bench.state)
    put_back(bench, copy)
    before = len(list(bench.intents()))
    bench.run_until(START + 5 * HOUR)
    assert before == len(list(bench.intents()))
    assert [Code.LEDGER_RESTORED] == sorted(bench.state.holds)
    assert bench.state.unanswered_ms == 2 * 10**9


def test_h33_a_backup_from_before_the_first_command_is_compared_too() -> None:
    """It knows of no run at all, and what a node counted is somebody's."""
    bench = Bench(machine())
    copy = copy_of(bench.state)
    bench.run_until(START + 5 * HOUR)
    put_back(bench, copy)
    both = [Code.LEDGER_FORGETS, Code.LEDGER_RESTORED]
    assert both == holds_after(bench, shown(bench))
    # On record now: its release ends it for good.
    assert bench.state.commanded["shelf/a"].n == bench.numbers["a"] - 1


@pytest.mark.parametrize("code", [Code.LEDGER_RESTORED, Code.LEDGER_FORGETS])
def test_h33_what_falls_due_before_anybody_looked_is_never_given(code: Code) -> None:
    """Put back by a clock ten minutes behind, or as a bare copy: it was given before.

    The clock is right when the daemon looks, and a person releases within its window.
    """
    bench = Bench(machine())
    bench.run_until(START + 110 * MINUTE)
    copy = copy_of(bench.state)
    bench.run_until(START + 125 * MINUTE)
    lost = [one.dose for one in bench.intents()][-1]
    assert lost.due_at == START + 2 * HOUR
    now = bench.now()
    mark: Stamp = {"at": now.utc - 10 * MINUTE, "boot_s": now.boot_s, "proven_ms": 0}
    mark["proven_ms"] = bench.state.mark.proven_ms if bench.state.mark else 0
    held = HoldRaised(
        **mark, hold_id=code, scope="all", reason=HELD_FOR[code], latched=True
    )
    fold(copy, held)
    copy.unanswered_ms = None
    started(bench, copy)
    bench.sight.scanned_until = None
    begun = len(bench.events)
    bench.run_until(START + 130 * MINUTE)
    assert code in bench.state.holds
    stamp: Stamp = {**mark, "at": bench.now().utc}
    fold(copy, HoldReleased(**stamp, hold_id=code, by="keeper", why="looked"))
    bench.run_until(START + 4 * HOUR)
    given = [one.dose.id for one in bench.intents()]
    assert len(given) == len(set(given))
    told = {
        one.dose.id: one.reasons[0].code
        for one in bench.events[begun:]
        if isinstance(one, DoseMissed)
    }
    assert code == told[lost.id]


HELD_FOR = {
    Code.LEDGER_RESTORED: because(Code.LEDGER_RESTORED),
    Code.LEDGER_FORGETS: because(
        Code.LEDGER_FORGETS,
        node="shelf",
        channel="a",
        boot="beef" * 4,
        counted=9,
        known=8,
    ),
}
