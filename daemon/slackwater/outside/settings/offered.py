"""What of a machine file a plan may name.

Floor 6. One subject: the names a plan is read against. Laws here: a name that stands
in the machine file is there, whatever is wrong with its table; what could not be read
of it is not known, and no fault of the plan.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from slackwater.facts.exchanges import Exchange
from slackwater.facts.tank import Machine


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Which solution a pump gives to which tank; "" where that is not known."""

    tank: str
    solution: str

    def fits(self, tank: str, solution: str) -> bool:
        """Whether it gives this solution to this tank, as far as it is known."""
        return self.tank in ("", tank) and self.solution in ("", solution)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offered:
    """Tanks, solutions, pumps and pairs by their names; None where nobody knows them.

    A pair is None where it stands there and could not be read.
    """

    tanks: Collection[str] | None = None
    solutions: Collection[str] | None = None
    pumps: Mapping[str, Use] | None = None
    pairs: Mapping[str, Exchange | None] | None = None


# Of a file that cannot be read at all.
NOTHING_KNOWN = Offered()


def offered_by(machine: Machine) -> Offered:
    """What a whole machine offers."""
    return Offered(
        tanks=machine.tanks,
        solutions=machine.solutions,
        pumps={
            name: Use(tank=pump.tank, solution=pump.solution)
            for name, pump in machine.pumps.items()
        },
        pairs=machine.exchanges,
    )
