"""How an amount is split, how long it runs and how it reads.

Floor 3. One subject: whole amounts. Laws here: the parts of a day sum to the day's
amount to the microlitre and differ by one at most; a run is rounded up; in words the
exact whole number stands beside every rounded one, because a plan may break a cap by
one.
"""

from fractions import Fraction

from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import Pump, Tank
from slackwater.water.parameters import concentration, parameter_named
from slackwater.water.show import show_volume
from slackwater.water.spellings import units_of

# A worn or freshly tubed pump may be this much slower than its nominal rate before
# its calibration shows it: common practice, no source.
FLOW_END_PERCENT = 120

_PICO_WORDS = {"alkalinity": "peq", "carbon": "pmol"}
_UL_A_LITRE = 10**6


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


def amount_words(amount: int, parameter: str, tank: Tank) -> str:
    """An amount with its unit as people write it; no parameter means microlitres."""
    if not parameter:
        return show_volume(amount)
    item = parameter_named(parameter, where="")
    level = concentration(parameter, amount, Fraction(tank.net_ul, _UL_A_LITRE))
    shown = float(level / units_of(item)[item.display_unit])
    return f"{shown:.4g} {item.display_unit} ({amount} {pico_word(parameter)})"
