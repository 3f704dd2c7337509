"""Amounts as people read them.

Floor 3. One subject: figures inside findings. Laws here: the exact whole number
stands beside every rounded one, because a plan may break a cap by one.
"""

from slackwater.facts.tank import Tank

_PICO_WORDS = {"alkalinity": "peq", "carbon": "pmol"}
_LEVEL_WORDS = {"alkalinity": "meq/L", "carbon": "mmol/L"}
# One pico-unit per microlitre is one micro-unit per litre.
_MICRO_PER_MILLI = 1000


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
