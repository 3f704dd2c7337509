"""Reasons for people: the sentence, and its figures in the units they use.

Floor 8. One subject: the words of a reason. Laws here: a level stands in the unit it
was stated in, never in the one it is computed in; what is added to a tank nobody knows
the volume of is told as a share of its cap; what has no unit of its own is shown as it
is; nothing here loads the settings, because a status does without them.
"""

from collections.abc import Iterator

from slackwater.cli.amounts import effect_words
from slackwater.facts.figures import figure_words
from slackwater.facts.reasons import Reason
from slackwater.facts.tank import Tank
from slackwater.water.show import show_figure

# What a cap on effects counts, in an inner unit of the whole tank.
_COUNTED = ("charged", "asked", "outside", "rise", "cap")


def reason_words(reason: Reason, tank: Tank | None = None) -> str:
    """A reason's sentence with its figures in brackets.

    `tank` is the one it speaks of, where that is known.
    """
    cap = reason.figures.get("cap")
    if "parameter" in reason.figures and isinstance(cap, int):
        told = list(_counted(reason, cap, tank))
    else:
        told = [figure_words(name, value) for name, value in reason.figures.items()]
    if not told:
        return reason.text
    return f"{reason.text.removesuffix('.')} ({', '.join(told)})."


def _counted(reason: Reason, cap: int, tank: Tank | None) -> Iterator[str]:
    """The figures of a cap on what is added to the water."""
    parameter = str(reason.figures["parameter"])
    yield parameter
    for name in _COUNTED:
        amount = reason.figures.get(name)
        if not isinstance(amount, int) or (name == "outside" and not amount):
            continue
        if tank is not None:
            yield f"{name} {effect_words(parameter, amount, tank)}"
        elif name != "cap" and cap:
            yield f"{name} {show_figure(100 * amount / cap)} % of the cap"
