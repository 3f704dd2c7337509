"""A line goes over from an old doser: never both, never neither, no way back begun."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import DoseMissed, PumpsEnabled, ResumeBegan
from slackwater.facts.fold import fold
from slackwater.facts.reasons import Code
from slackwater.facts.stages import LineGivenBack, LineTakenOver
from slackwater.facts.tank import Machine, Outside
from slackwater.pump.outcome import Stamp
from tests.gate.scene import dkh_peq, machine
from tests.turn.test_step import START, Bench

HOUR = timedelta(hours=1)
LINES = ("reef/calcium", "reef/carbonate")


def beside_an_old_doser() -> Machine:
    """Both lines of the scene are given by an old doser."""
    amounts = (("alkalinity", "carbonate"), ("calcium", "calcium"))
    return replace(
        machine(),
        outside=tuple(
            Outside(
                id=f"old-{line}",
                tank="reef",
                parameter=parameter,
                per_day=dkh_peq(0.9) if parameter == "alkalinity" else 10**12,
                line=line,
            )
            for parameter, line in amounts
        ),
    )


def enabled() -> Bench:
    """Pumps are enabled while the old doser gives everything."""
    bench = Bench(beside_an_old_doser())
    fold(
        bench.state,
        PumpsEnabled(**stamp(bench), by="keeper", serial=1, left_to_old=LINES),
    )
    return bench


def stamp(bench: Bench) -> Stamp:
    """The clocks of the bench."""
    now = bench.now()
    mark = bench.state.mark
    assert mark is not None
    return {
        "at": now.utc,
        "boot_s": now.boot_s,
        "proven_ms": mark.proven_ms + int((now.boot_s - mark.boot_s) * 1000),
    }


def given(bench: Bench, since: datetime) -> dict[str, int]:
    """Doses of each line from a moment on."""
    found: dict[str, int] = {}
    for intent in bench.intents():
        if intent.at >= since:
            found[intent.dose.line] = found.get(intent.dose.line, 0) + 1
    return found


def test_nothing_is_dosed_of_a_line_that_is_the_old_dosers() -> None:
    """Each due dose is on record with the reason, and nothing was planned of it."""
    bench = enabled()
    bench.run_until(START + 6 * HOUR)
    assert {} == given(bench, START)
    missed = [e for e in bench.events if isinstance(e, DoseMissed)]
    assert 12 == len(missed)
    assert {Code.OLD_DOSER} == {e.reasons[0].code for e in missed}
    assert [{}] * 12 == [dict(e.effects) for e in missed]


@pytest.mark.parametrize("minutes", [0, 1, 17, 59])
def test_a_line_that_goes_over_is_ours_from_its_next_dose_on(minutes: int) -> None:
    """Whenever in the hour: each hour's dose of carbonate has one giver."""
    bench = enabled()
    over = START + 3 * HOUR + timedelta(minutes=minutes)
    bench.run_until(over)
    taken = LineTakenOver(**stamp(bench), line=LINES[1], by="keeper")
    fold(bench.state, taken)
    bench.run_until(START + 9 * HOUR)
    assert {"carbonate": 5} == given(bench, over)
    theirs = {
        e.dose.id
        for e in bench.events
        if isinstance(e, DoseMissed) and e.dose.line == "carbonate"
    }
    ours = {i.dose.id for i in bench.intents()}
    assert set() == theirs & ours
    assert 9 == len(theirs | ours)
    assert all(i.dose.due_at > over for i in bench.intents())


def test_a_line_given_back_is_not_dosed_from_then_on() -> None:
    """Not even the dose that waits."""
    bench = enabled()
    fold(bench.state, LineTakenOver(**stamp(bench), line=LINES[1], by="keeper"))
    bench.run_until(START + 3 * HOUR)
    back = LineGivenBack(**stamp(bench), line=LINES[1], by="keeper")
    fold(bench.state, back)
    bench.run_until(START + 6 * HOUR)
    assert {} == given(bench, START + 3 * HOUR)
    assert given(bench, START)


def test_no_way_back_begins_because_another_gave_it() -> None:
    """A day and a half of the old doser, then ours: no gap lies behind."""
    bench = enabled()
    bench.run_until(START + 36 * HOUR)
    for line in LINES:
        fold(bench.state, LineTakenOver(**stamp(bench), line=line, by="keeper"))
    bench.run_until(START + 60 * HOUR)
    assert [] == [e for e in bench.events if isinstance(e, ResumeBegan)]
    assert {"carbonate", "calcium"} == given(bench, START).keys()
