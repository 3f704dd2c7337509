"""How an amount is split, how long it runs and how it reads.

Floor 3. One subject: whole amounts. Laws here: the parts of a day sum to the day's
amount to the microlitre and differ by one at most; a run is rounded up; in words the
digits of two that differ differ as well, because a plan may break a cap by one.
"""

from collections.abc import Sequence
from fractions import Fraction

from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import Pump, Tank
from slackwater.water.parameters import concentration, parameter_named
from slackwater.water.show import show_figure, show_volume
from slackwater.water.spellings import units_of

# A worn or freshly tubed pump may be this much slower than its nominal rate before
# its calibration shows it: common practice, no source.
FLOW_END_PERCENT = 120

_PICO_WORDS = {"alkalinity": "peq", "carbon": "pmol"}
_UL_A_LITRE = 10**6
# Digits that people are shown where they tell amounts apart.
_DIGITS = 4


def volumes_ul(per_day_ul: int, count: int) -> tuple[int, ...]:
    """The volumes of a day's doses, the remainder spread evenly among them."""
    return tuple(
        (number + 1) * per_day_ul // count - number * per_day_ul // count
        for number in range(count)
    )


def smallest_ul(line: PlanLine) -> int:
    """The smallest dose of a line."""
    return line.per_day_ul // line.count


def largest_ul(line: PlanLine) -> int:
    """The largest dose of a line."""
    return -(-line.per_day_ul // line.count)


def run_s(pump: Pump, volume_ul: int) -> int:
    """Run time of a volume at the nominal rate, in seconds, rounded up."""
    return -(-volume_ul * 1_000 // pump.rate_nl_per_s)


def flow_s(pump: Pump, volume_ul: int) -> int:
    """Time after which the volume has surely flowed, in seconds, rounded up."""
    return -(-volume_ul * 10 * FLOW_END_PERCENT // pump.rate_nl_per_s)


def pico_word(parameter: str) -> str:
    """The pico-unit amounts of a parameter are counted in."""
    return _PICO_WORDS.get(parameter, "pg")


def amounts_words(
    amounts: Sequence[int], parameter: str, tank: Tank
) -> tuple[str, ...]:
    """Amounts as people write them; no parameter means microlitres.

    Shape: in their order; two that differ are written differently.
    """
    if not parameter:
        return tuple(map(show_volume, amounts))
    item = parameter_named(parameter, where="")
    litres = Fraction(tank.net_ul, _UL_A_LITRE)
    unit = units_of(item)[item.display_unit]
    levels = [concentration(parameter, amount, litres) / unit for amount in amounts]
    digits = _DIGITS
    shown = tuple(show_figure(level, digits) for level in levels)
    # Exact figures that differ do so in some digit.
    while len(set(shown)) < len(set(amounts)):
        digits += 1
        shown = tuple(show_figure(level, digits) for level in levels)
    return tuple(f"{figure} {item.display_unit}" for figure in shown)
