"""For which parameter a solution is dosed.

Floor 3. One subject: the chief effect of a solution. Laws here: a solution is turned
for what would first be too much, so that nothing it brings beside that goes too far
while it is led to its target; the salt that is left behind is chief of nothing else.
Source: the levels from which something is too much are common practice, no source.
"""

from slackwater.assessment.practice import headroom
from slackwater.facts.tank import Solution
from slackwater.water.ions import IONS
from slackwater.water.parameters import PARAMETERS

# Sodium, chloride and sulfate: a label may name them beside what it is sold for.
_LEFT_BEHIND = frozenset(ion.rest for ion in IONS.values() if ion.rest)


def chief_effect(solution: Solution) -> str:
    """The parameter a solution is dosed for.

    Shape: the one whose headroom the least of the solution fills. Range: a solution
    with one effect or more.
    """
    wanted = [name for name in solution.effects if name not in _LEFT_BEHIND]
    return max(
        wanted or solution.effects, key=lambda name: (_filled(solution, name), name)
    )


def _filled(solution: Solution, parameter: str) -> float:
    """Litres of water whose headroom one microlitre fills."""
    level = solution.effects[parameter] / PARAMETERS[parameter].pico_per_unit
    return level / headroom(parameter)
