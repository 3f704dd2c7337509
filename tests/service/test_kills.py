"""The real process killed at named points, hundreds of times, and not a drop too many.

The judge is the reef's own integral of what its hose gave, which no report reaches.
"""

from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

import pytest

from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    DoseEnded,
    DoseIntended,
    DoseSealed,
    DoseVoided,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.state import State
from tests.service.kills import POINTS, RATE_UL_PER_S, Lane, lane

pytestmark = [pytest.mark.mosquitto, pytest.mark.kill]

# How often each lane goes through all points: thirteen times between them.
ROUNDS = (4, 3, 3, 3)
# What the program does from its first line on and a forked one does not: it imports.
# Of the points a dose passes, one before, one amid and one after its run show that.
FROM_SCRATCH = ("before_append:dose_intended", "sent", "appended:dose_ended")
KILLS_AT_LEAST = 200
EACH_AT_LEAST = 10
# A node that looks late runs on, to its cut at most: 150 ms after so short a run.
LATE_LOOK_UL = RATE_UL_PER_S * 150 // 1000
A_DROP_UL = 0.001


def run_lane(folder: Path, number: int) -> tuple[Lane, list[AnyEvent]]:
    """All points in order, again and again; some of the first from scratch."""
    with lane(folder / str(number), number) as made:
        for turn in range(ROUNDS[number]):
            for wish in POINTS:
                made.kill_at(wish, fresh=number == turn == 0 and wish in FROM_SCRATCH)
        made.settle()
        return made, made.events()


def charges(events: list[AnyEvent]) -> list[tuple[datetime, int]]:
    """Every change of what is charged, as the law says it and not as the fold does."""
    asked: dict[str, int] = {}
    charged: dict[str, int] = {}
    changes = []
    for event in events:
        if isinstance(event, DoseIntended):
            attempt, now_ul = event.command.attempt, event.command.ul
            asked[attempt] = now_ul
        elif isinstance(event, DoseVoided):
            attempt, now_ul = event.attempt, 0
        elif isinstance(event, DoseEnded | ChargeRaised):
            attempt, now_ul = event.attempt, max(asked[event.attempt], event.charge_ul)
        else:
            continue
        changes.append((event.at, now_ul - charged.get(attempt, 0)))
        charged[attempt] = now_ul
    return changes


def under_charged(made: Lane, events: list[AnyEvent]) -> list[str]:
    """Moments at which more had flowed than was charged; empty as it must be."""
    changes = charges(events)
    found = []
    for at, delivered_ul in made.seen:
        # What is given back later had not flowed: counted by the moment alone.
        charged_ul = sum(change for when, change in changes if when <= at)
        if delivered_ul > charged_ul + LATE_LOOK_UL:
            found.append(f"{at}: {delivered_ul} µL of {charged_ul} µL charged")
    at, delivered_ul = made.seen[-1]
    charged_ul = sum(change for _, change in changes)
    if delivered_ul > charged_ul + A_DROP_UL:
        found.append(f"at the end: {delivered_ul} µL of {charged_ul} µL charged")
    return found


def doubled(made: Lane, events: list[AnyEvent]) -> list[str]:
    """Signs of a dose given twice; empty as it must be."""
    intents = {e.command.attempt: e for e in events if isinstance(e, DoseIntended)}
    doses = Counter(intent.dose.id for intent in intents.values())
    found = [f"{dose}: {count} intents" for dose, count in doses.items() if count > 1]
    believed_ul = sealed_ul = 0
    for event in events:
        if isinstance(event, DoseEnded):
            asked_ul = intents[event.attempt].command.ul
            believed_ul += event.believed_ul
            if event.believed_ul > asked_ul + LATE_LOOK_UL:
                found.append(f"{event.attempt}: {event.believed_ul} of {asked_ul} µL")
        elif isinstance(event, DoseSealed):
            sealed_ul += intents[event.attempt].command.ul
    delivered_ul = made.seen[-1][1]
    if (
        not believed_ul - A_DROP_UL
        <= delivered_ul
        <= believed_ul + sealed_ul + A_DROP_UL
    ):
        found.append(f"{delivered_ul} µL flowed, {believed_ul} µL believed")
    return found


@pytest.mark.timeout(900)
def test_h01_to_h04_no_kill_doubles_or_hides_a_dose(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    """Two hundred kills, each point ten times: at most once, and always charged."""
    numbers = range(len(ROUNDS))
    with ThreadPoolExecutor(len(ROUNDS)) as pool:
        lanes = list(pool.map(lambda number: run_lane(tmp_path, number), numbers))
    killed = sum((made.killed for made, _ in lanes), Counter[str]())
    given = sum(1 for _, events in lanes for e in events if isinstance(e, DoseEnded))
    tell(f"{killed.total()} kills of the daemon, {given} doses ended between them:")
    for point in POINTS:
        tell(f"  {killed[point]:3}  {point}")
    assert killed.total() >= KILLS_AT_LEAST
    assert {} == {point: n for point, n in killed.items() if n < EACH_AT_LEAST}
    assert [] == [sign for made, events in lanes for sign in doubled(made, events)]
    assert [] == [
        sign for made, events in lanes for sign in under_charged(made, events)
    ]
    for _, events in lanes:
        folded = fold_all(State(), events)
        assert {} == folded.open
        assert sum(more for _, more in charges(events)) == sum(
            folded.days["pump/carbonate"].values()
        )
