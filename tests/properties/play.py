"""One scenario from its seed: what befell it, what it broke, what it reached.

`python -m tests.properties.play SEED` plays one again and prints its ledger.
"""

import logging
import sys
import traceback
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial

import structlog

from slackwater.facts.events import AnyEvent, DoseEnded
from slackwater.facts.reasons import Reason
from tests.properties.bus import Habits
from tests.properties.faults import FAULTS, MINUTE_MS, OFTEN, Fault
from tests.properties.oracle import findings
from tests.properties.people import PEOPLE
from tests.properties.world import World, begin

END_MS = 10 * MINUTE_MS
FAULTS_AT_MOST = 7
# Some households live with a wire that is bad from the first moment on.
BAD_WIRE, BAD_WIRE_SHARE = "wire_always_bad", 0.25
# After these a node, or somebody in its name, says what no honest node would.
LIARS = frozenset({"node_lies", "second_daemon", "node_stolen"})
EVERY: tuple[Fault, ...] = tuple(dict.fromkeys((*FAULTS, *PEOPLE)))


@dataclass(slots=True, kw_only=True)
class Played:
    """A scenario that is over."""

    seed: int
    befell: tuple[str, ...]
    broken: tuple[str, ...]
    reached: Counter[str] = field(default_factory=Counter)

    def __str__(self) -> str:
        """What a person needs to play it again."""
        again = f"python -m tests.properties.play {self.seed}"
        broken = "\n    ".join(self.broken)
        return f"seed {self.seed} ({', '.join(self.befell)}): {again}\n    {broken}"


def play(seed: int) -> Played:
    """Play one scenario to its end and judge it."""
    world, befell = set_up(seed)
    fell: tuple[str, ...] = ()
    try:
        world.run(END_MS)
    except Exception:  # noqa: BLE001 -- whatever ends the daemon is a finding
        fell = (f"the daemon fell: {traceback.format_exc(limit=-3)}",)
    reached = Counter(reached_by(world.book.events()))
    reached.update(f"fault {name}" for name in befell)
    return Played(
        seed=seed,
        befell=befell,
        broken=fell or tuple(findings(world, honest=LIARS.isdisjoint(befell))),
        reached=reached,
    )


def play_all(seeds: Iterable[int]) -> list[Played]:
    """Many scenarios, without a word on the terminal."""
    hush()
    return [play(seed) for seed in seeds]


def hush() -> None:
    """Let the daemon log nothing."""
    quiet = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=quiet)


def set_up(seed: int) -> tuple[World, tuple[str, ...]]:
    """A world with its faults lying ahead, and their names."""
    world = begin(seed)
    chance = world.chance
    befell = []
    if chance.random() < BAD_WIRE_SHARE:
        world.bus.habits = Habits(loss=0.15, double=0.3, slow=0.3)
        befell.append(BAD_WIRE)
    for _ in range(chance.randint(0, FAULTS_AT_MOST)):
        fault = chance.choice(chance.choice((FAULTS, OFTEN, PEOPLE, PEOPLE)))
        befell.append(fault.__name__)
        world.after(chance.randrange(END_MS - MINUTE_MS), partial(fault, world))
    return world, tuple(befell)


def reached_by(events: Iterable[AnyEvent]) -> Iterator[str]:
    """Kinds of entries, ways to end, and reasons wherever they stand."""
    for event in events:
        yield f"entry {event.kind}"
        if isinstance(event, DoseEnded):
            yield f"end {event.how}"
        reasons: tuple[Reason, ...] = getattr(event, "reasons", ())
        one: Reason | None = getattr(event, "reason", None)
        for reason in (*reasons, *(() if one is None else (one,))):
            yield f"reason {reason.code}"


def show(seed: int) -> None:
    """Play one scenario and print its entries with their true times."""
    hush()
    world, befell = set_up(seed)
    world.run(END_MS)
    for written in world.book.entries:
        sys.stdout.write(f"{written.t_ms / 1000:10.3f} {written.event}\n")
    for finding in findings(world, honest=LIARS.isdisjoint(befell)):
        sys.stdout.write(f"{finding}\n")
    sys.stdout.write(f"{befell}\n")


if __name__ == "__main__":
    show(int(sys.argv[1]))
