"""What a dose that runs does when something trips: it stops, and its part is counted.

Command contract: interlock, hold, pause and withdrawal stop a run; a partial run is
reported and stays partial, its charge stays as asked.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseIntended,
    PlanWithdrawn,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.messages import Reading, Request, Result, StopPump
from slackwater.facts.safeguards import BypassGranted, ReservoirFilled
from slackwater.facts.sight import Inbox
from slackwater.facts.tank import Machine
from slackwater.facts.waters import HusbandryNoted, MeasurementKept
from slackwater.pump.outcome import Stamp
from slackwater.turn.step import turn
from tests.gate.scene import PROBE, dkh, machine
from tests.gate.watched import PROBES, switch
from tests.turn.test_step import START, Bench
from tests.turn.test_watching import say

HOUR = timedelta(hours=1)
ASKED_UL, RAN_UL = 2000, 700
CARBONATE = StopPump(node="shelf", channel="a")


def house() -> Machine:
    """The two pumps with probes of alkalinity and pH, a float and a return pump."""
    wired = (switch("return-pump", "return"), switch("level", "float"))
    return replace(
        machine(),
        probes={"kh": PROBE, "ph": PROBES["ph"]},
        switches={each.id: each for each in wired},
    )


def running() -> Bench:
    """A dose of carbonate is under way, and nobody has heard of its end."""
    bench = Bench(house())
    bench.answers = False
    say(bench, "return", is_on=True)
    say(bench, "float", is_on=False)
    show(bench, "ph", 8.2)
    show(bench, "kh", dkh(8.0))
    settle(bench)
    (known,) = bench.state.open.values()
    assert ("carbonate", ASKED_UL) == (
        known.intent.dose.pump,
        known.intent.command.ul,
    )
    assert [] == stops(bench)
    return bench


def settle(bench: Bench) -> None:
    """Beats and turns until nothing more happens."""
    bench.hear_beat()
    while bench.step() or bench.news:
        pass


def stops(bench: Bench) -> list[StopPump]:
    """What a turn of now would stop."""
    bench.hear_beat()
    done = turn(bench.now(), bench.state, Inbox(sight=bench.sight), bench.setup)
    return [effect for effect in done.effects if isinstance(effect, StopPump)]


def stamp(bench: Bench) -> Stamp:
    """The clocks of this moment."""
    now = bench.now()
    return {"at": now.utc, "boot_s": now.boot_s, "proven_ms": 10**9}


def show(bench: Bench, probe: str, value: float) -> None:
    """A probe shows a value of now."""
    parameter = {"ph": "ph", "kh": "alkalinity"}[probe]
    bench.news.append(
        Reading(
            tank="reef", probe=probe, parameter=parameter, value=value, at=bench.utc
        )
    )


def write(bench: Bench, *events: AnyEvent) -> None:
    """Somebody else's entries."""
    fold_all(bench.state, events)


def pause(bench: Bench) -> None:
    """Somebody asks for peace from afar."""
    bench.news.append(Request(tank="reef", id="p1", act="pause", minutes=30))


def held(bench: Bench) -> None:
    """Somebody holds from afar."""
    bench.news.append(Request(tank="reef", id="h1", act="hold"))


def withdrawn(bench: Bench) -> None:
    """The approval is taken back."""
    write(bench, PlanWithdrawn(**stamp(bench), serial=1, by="keeper"))


def return_pump_off(bench: Bench) -> None:
    """The water stands still."""
    say(bench, "return", is_on=False)


def return_pump_silent(bench: Bench) -> None:
    """Nobody knows any more whether the water moves."""
    seen = bench.sight.switches["return"]
    seen.heard_boot_s -= 3600.0


def float_up(bench: Bench) -> None:
    """The level is wrong."""
    say(bench, "float", is_on=True)


def ph_high(bench: Bench) -> None:
    """Too high for carbonate."""
    bench.utc += timedelta(seconds=1)
    show(bench, "ph", 8.7)


def alkalinity_high(bench: Bench) -> None:
    """One reading above the ceiling."""
    bench.utc += timedelta(seconds=1)
    show(bench, "kh", dkh(12.0))


def hand_tests_high(bench: Bench) -> None:
    """A hand test finds too much, and no sound probe says otherwise."""
    bench.sight.readings["kh"].clear()
    write(
        bench,
        MeasurementKept(
            **stamp(bench),
            id="m-1",
            tank="reef",
            parameter="alkalinity",
            value=dkh(12.0),
            typed="12 dKH",
            taken_at=bench.now().utc,
            provenance="hand",
            by="keeper",
        ),
    )


TRIPS: tuple[Callable[[Bench], None], ...] = (
    pause,
    held,
    withdrawn,
    return_pump_off,
    return_pump_silent,
    float_up,
    ph_high,
    alkalinity_high,
    hand_tests_high,
)


@pytest.mark.parametrize("trip", TRIPS, ids=lambda trip: str(trip.__name__))
def test_h17_what_trips_stops_the_dose_that_runs(trip: Callable[[Bench], None]) -> None:
    """In the turn after it, and again in each turn until the pump stands."""
    bench = running()
    trip(bench)
    settle(bench)
    assert [CARBONATE] == stops(bench)
    assert [CARBONATE] == stops(bench)
    bench.news.append(ended(bench))
    settle(bench)
    assert [] == stops(bench)


def ended(bench: Bench) -> Result:
    """The node says that it stopped after a part."""
    (known,) = bench.state.open.values()
    command = known.intent.command
    return Result(
        node="shelf",
        id=command.attempt,
        boot=command.boot,
        channel=command.channel,
        n=command.n,
        phase="ended",
        ran_ms=command.ms * RAN_UL // ASKED_UL,
        ul=RAN_UL,
        reason="stopped",
        cal=command.cal,
        up=0,
    )


@pytest.mark.parametrize("trip", TRIPS, ids=lambda trip: str(trip.__name__))
def test_h19_a_part_is_believed_and_the_whole_stays_charged(
    trip: Callable[[Bench], None],
) -> None:
    """What flowed counts in the water and the bottle, what was asked against caps."""
    bench = running()
    trip(bench)
    settle(bench)
    bench.news.append(ended(bench))
    settle(bench)
    (end,) = (e for e in bench.events if isinstance(e, DoseEnded))
    assert ("stopped", RAN_UL, ASKED_UL) == (end.how, end.believed_ul, end.charge_ul)
    per_ul = machine().solutions["carbonate"].effects["alkalinity"]
    assert ASKED_UL == bench.state.charges["pump/carbonate"].total
    assert RAN_UL * per_ul == bench.state.believed["reef/alkalinity"].total
    assert RAN_UL == bench.state.drawn_ul["carbonate"]
    # Stopped on purpose, it is no fault of the pump, and it is never made up.
    assert {} == bench.state.short_streak
    bench.answers = True
    bench.run_until(bench.utc + 3 * HOUR)
    asked = [e for e in bench.events if isinstance(e, DoseIntended)]
    assert len({e.dose.id for e in asked}) == len(asked)
    assert all(e.command.ul <= ASKED_UL for e in asked)


def test_a_bottle_that_its_own_dose_empties_stops_nothing() -> None:
    """The charge of the run itself takes the bottle below the next dose."""
    bench = Bench(house())
    bench.answers = False
    say(bench, "return", is_on=True)
    show(bench, "ph", 8.2)
    for name in house().reservoirs:
        write(
            bench,
            ReservoirFilled(
                **stamp(bench),
                reservoir=name,
                content_ul=ASKED_UL,
                mixed_at=START,
                by="keeper",
            ),
        )
    settle(bench)
    assert 1 == len(bench.state.open)
    assert [] == stops(bench)


def test_a_treatment_leaves_upkeep_alone_and_a_bypass_the_run() -> None:
    """Only what reaches the line stops it, and only while nobody left it aside."""
    bench = running()
    now = bench.now().utc
    write(
        bench,
        HusbandryNoted(
            **stamp(bench),
            id="h-1",
            tank="reef",
            what="treatment",
            happened_at=now,
            by="keeper",
            until=now + HOUR,
        ),
    )
    assert [] == stops(bench)
    return_pump_silent(bench)
    assert [CARBONATE] == stops(bench)
    write(
        bench,
        BypassGranted(
            **stamp(bench),
            interlock="return-pump-silent",
            scope="tank/reef",
            until=now + HOUR,
            why="cleaned",
            by="keeper",
        ),
    )
    assert [] == stops(bench)
