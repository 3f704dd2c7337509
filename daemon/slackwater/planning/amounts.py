"""How an amount is split, how long it runs and how it reads.

Floor 3. One subject: whole amounts. Laws here: the parts of a day sum to the day's
amount to the microlitre and differ by one at most; a run is rounded up; in words the
exact whole number stands beside every rounded one, because a plan may break a cap by
one.
"""

from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import Pump, Tank

# A worn or freshly tubed pump may be this much slower than its nominal rate before
# its calibration shows it: common practice, no source.
FLOW_END_PERCENT = 120

_PICO_WORDS = {"alkalinity": "peq", "carbon": "pmol"}
_LEVEL_WORDS = {"alkalinity": "meq/L", "carbon": "mmol/L"}
# One pico-unit per microlitre is one micro-unit per litre.
_MICRO_PER_MILLI = 1000


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
    """An amount with its unit; no parameter means microlitres."""
    if not parameter:
        return f"{amount} µL"
    level = amount / tank.net_ul / _MICRO_PER_MILLI
    unit = _LEVEL_WORDS.get(parameter, "mg/L")
    return f"{level:.4g} {unit} ({amount} {pico_word(parameter)})"
