"""Where new salt water would take the tanks it is exchanged into.

Floor 8. One subject: the salinity of a container, and what all of it would do. Laws
here: a keeper may mean to move the salinity, so it is told and never refused; where the
tank was not tested its target stands for it.
Source: C = Cn + (C0 - Cn) exp(-V / net) (`water.water_changes`).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from slackwater.facts.exchanges import NEEDED
from slackwater.facts.safeguards import ReservoirFilled
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.water.show import show_level
from slackwater.water.water_changes import after_exchange, time_constant_days

UL_A_LITRE = 10**6
# Pumps that part by 5 % move it by less before their pair rests: more is worth a word.
WORTH_A_WORD_PSU = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Salinity of a tank before, and after all of a container went into it.

    `drain` is the pump whose hold keeps the pair from going on.
    """

    drain: str
    before: float
    after: float


def moves(
    machine: Machine, state: State, filled: ReservoirFilled
) -> Mapping[str, Move]:
    """Each tank that water of this fill is exchanged into; none where none is known."""
    found, new = {}, filled.levels.get(NEEDED)
    for _, pair in sorted(machine.exchanges.items()):
        tank = machine.tanks[pair.tank]
        tested = state.levels.get(f"{tank.id}/{NEEDED}")
        before = tank.targets.get(NEEDED) if tested is None else tested.value
        is_its = machine.pumps[pair.fill].reservoir == filled.reservoir
        if not is_its or new is None or before is None or filled.content_ul <= 0:
            continue
        # All of it as if in one day: how long it takes makes no difference.
        litres = tank.net_ul / UL_A_LITRE
        days = time_constant_days(litres, filled.content_ul / UL_A_LITRE)
        after = after_exchange(before, new, days, 1.0)
        found[tank.id] = Move(drain=pair.drain, before=before, after=after)
    return found


def moved_lines(found: Mapping[str, Move]) -> Iterator[str]:
    """A line for each tank whose salinity it would really move."""
    for tank, one in found.items():
        if abs(one.after - one.before) > WORTH_A_WORD_PSU:
            yield (
                f"Mind: all of it exchanged takes the salinity of {tank} from "
                f"{show_level(NEEDED, one.before)} to "
                f"{show_level(NEEDED, one.after)}. If that is not meant: `slackwater "
                f"hold --scope pump/{one.drain}`, and mix or measure again."
            )
