"""An uptake that tests show beside another one that the file states, in words.

Floor 8. One subject: what cannot both be true, said wherever one of the two is used.
Laws here: the same sentence in a check, a rehearsal and a proposal; both figures, which
of them a forecast goes by, and what the plan gives beside them.
"""

from collections.abc import Iterator, Mapping, Sequence

from slackwater.assessment.knobs import level_per_pico
from slackwater.assessment.stating import UptakeApart
from slackwater.facts.tank import Tank
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_days, show_figure
from slackwater.water.spellings import units_of


def apart_words(
    found: Sequence[UptakeApart], tank: Tank, added: Mapping[tuple[str, str], int]
) -> Iterator[str]:
    """A sentence, without a full stop, for each uptake that the file has otherwise.

    Shape: `added` maps tank and parameter to what the plan's pumps give in a day,
    pico-units.
    """
    for one in found:
        given = added.get((tank.id, one.parameter), 0)
        gift = given * level_per_pico(tank, one.parameter)
        yield f"{tank.id} {_contradict(one)}; {_gone_by(one)}{_gives(one, gift)}"


def _contradict(one: UptakeApart) -> str:
    name = one.parameter
    half = show_figure(_in_unit(name, one.half_width), 2)
    at_target = ""
    if one.at_target is not None:
        at_target = f", {_rate(name, one.at_target)} at its target"
    return (
        f"{name}: tests show an uptake of {_rate(name, one.shown)} a day (±{half}"
        f"{at_target}; {one.tests} tests in {show_days(one.span_days)} d), the file "
        f"states {_rate(name, one.stated)}: they contradict each other"
    )


def _gone_by(one: UptakeApart) -> str:
    """Which of the two a forecast goes by, and why."""
    if not one.why_not:
        return "a forecast goes by the tests, a net_rise cap by the file"
    return (
        f"a forecast goes by the file ({'; '.join(one.why_not)}), a proposal by the "
        "tests as far as they reach: test again before either is trusted"
    )


def _gives(one: UptakeApart, gift: float) -> str:
    if gift <= 0:
        return ""
    told = f". The plan gives {_rate(one.parameter, gift)} a day"
    if one.shown > 0:
        told += f", {show_figure(gift / one.shown)} times what tests show"
    return f"{told} and {show_figure(gift / one.stated)} times what is stated"


def _rate(parameter: str, per_day: float) -> str:
    unit = parameter_named(parameter, where="").display_unit
    return f"{show_figure(_in_unit(parameter, per_day))} {unit}"


def _in_unit(parameter: str, amount: float) -> float:
    item = parameter_named(parameter, where="")
    return amount / float(units_of(item)[item.display_unit])
