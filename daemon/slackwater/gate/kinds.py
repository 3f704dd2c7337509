"""What kind of solution a pump gives, as interlocks tell solutions apart.

Floor 3. One subject: solution → the words interlocks speak of. Laws here: what is not
known to be harmless counts as what it may be.
Source: a label says "alkalinity" and not which base, so it counts as carbonate unless
it says that it is bicarbonate; hydroxide goes by the ions or by the label's own word.
"""

from slackwater.facts.tank import Solution
from slackwater.water.parameters import PARAMETERS

ALKALINITY = "alkalinity"
CARBON = "carbon"
HYDROXIDE, CARBONATE, MINERAL, TRACE = "hydroxide", "carbonate", "mineral", "trace"
# Ions that raise pH as they are dosed (equilibria of the carbonate system).
_RAISING = {"OH": HYDROXIDE, "CO3": CARBONATE}


def kinds_of(solution: Solution) -> frozenset[str]:
    """All that a solution is; empty for one that moves nothing."""
    kinds = {_RAISING[ion] for ion in solution.ions if ion in _RAISING}
    if solution.hydroxide:
        kinds.add(HYDROXIDE)
    labelled = ALKALINITY in solution.effects and not solution.ions
    if labelled and not (solution.hydroxide or solution.bicarbonate):
        kinds.add(CARBONATE)
    for parameter in solution.effects:
        kinds |= _of_parameter(parameter)
    return frozenset(kinds)


def _of_parameter(parameter: str) -> frozenset[str]:
    known = PARAMETERS.get(parameter)
    if parameter == CARBON:
        return frozenset({CARBON})
    if known is not None and known.kind == "trace":
        return frozenset({MINERAL, TRACE})
    if known is not None and known.kind == "major":
        return frozenset({MINERAL})
    return frozenset()
