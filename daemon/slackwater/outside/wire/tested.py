"""A test told from afar: one parameter, one plausible figure in one of its units.

Floor 6. One subject: the figure of a `test` request. Laws here: nothing raises; what
needs a confirmation at the machine's command line is refused here, where nobody can
give one; a complaint never quotes what was received.
Units: levels canonical.
"""

from dataclasses import dataclass

from slackwater.errors import InputError
from slackwater.outside.wire.models import RequestPayload
from slackwater.outside.wire.strict import Spoiled
from slackwater.water.levels import linear
from slackwater.water.parameters import PARAMETERS


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a request tells; `typed` is the figure as it came, with its unit."""

    parameter: str = ""
    level: float = 0.0
    typed: str = ""


NOTHING = Told()


def told_test(asked: RequestPayload) -> Told | Spoiled:
    """The test in a request; nothing in one that asks for something else."""
    if asked.parameter is None or asked.value is None or asked.unit is None:
        return NOTHING
    item = PARAMETERS.get(asked.parameter)
    if item is None or not item.is_measured:
        return Spoiled(why="form", detail="parameter: no test shows it")
    try:
        scale = linear(item.id, asked.unit, where="")
    except InputError:
        return Spoiled(why="form", detail="unit: not one of this parameter")
    level = asked.value * float(scale.scale) + float(scale.offset)
    if not item.low <= level <= item.high:
        return Spoiled(why="number", detail="value: outside the plausible window")
    typed = f"{asked.value:.12g} {asked.unit}"
    return Told(parameter=item.id, level=level, typed=typed)
