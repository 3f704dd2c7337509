"""What a bottle would do that emptied itself at once.

Floor 8. One subject: the last passive limit. Laws here: the whole content counts, as
the machine file states it; it is a warning and no refusal, for what keeps a bottle from
running out by itself (an outlet above the water, a siphon break) no file can see.
Source: the limit of 3 dKH is common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from slackwater.cli.amounts import (
    change_of,
    display_unit,
    effect_decimal,
    effect_words,
)
from slackwater.facts.tank import Machine, Tank

ALKALINITY = "alkalinity"
# In the display unit of alkalinity, dKH.
MUCH_DKH = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Emptied:
    """So much of one reservoir in one tank; `effects` in pico-units of that tank."""

    reservoir: str
    tank: Tank
    content_ul: int
    effects: dict[str, int]

    @property
    def is_much(self) -> bool:
        """Whether alkalinity would rise by more than 3 dKH."""
        rise = change_of(ALKALINITY, self.effects.get(ALKALINITY, 0), self.tank)
        return rise > Fraction(MUCH_DKH)


def emptied(machine: Machine) -> Iterator[Emptied]:
    """Every reservoir in every tank that it has a pump for, in order of name."""
    for name in sorted({pump.reservoir for pump in machine.pumps.values()}):
        yield from given(machine, name, machine.reservoirs[name].content_ul)


def given(machine: Machine, reservoir: str, volume_ul: int) -> Iterator[Emptied]:
    """So much of a reservoir in every tank that it has a pump for, in order of name."""
    pumps = (one for one in machine.pumps.values() if one.reservoir == reservoir)
    for tank, solution in sorted({one.tank: one.solution for one in pumps}.items()):
        effects = machine.solutions[solution].effects
        yield Emptied(
            reservoir=reservoir,
            tank=machine.tanks[tank],
            content_ul=volume_ul,
            effects={key: per_ul * volume_ul for key, per_ul in effects.items()},
        )


def emptied_document(one: Emptied) -> dict[str, object]:
    """The same for a document."""
    return {
        "reservoir": one.reservoir,
        "tank": one.tank.id,
        "content_ul": one.content_ul,
        "adds": [
            {
                "parameter": name,
                "added": effect_decimal(name, amount, one.tank),
                "unit": display_unit(name),
            }
            for name, amount in sorted(one.effects.items())
        ],
        "warned": one.is_much,
    }


def emptied_words(one: Emptied) -> str:
    """One sentence, and what to do about it where it is much."""
    rises = rises_words(one)
    if not rises:
        return f"  {one.reservoir} in {one.tank.id}: nothing that is counted."
    told = f"  {one.reservoir} emptied at once would raise {rises} in {one.tank.id}."
    if not one.is_much:
        return told
    return (
        f"{told}\n    Warning: more than {MUCH_DKH} dKH. Hang the outlet above the "
        "water, break the siphon, or take a smaller bottle."
    )


def rises_words(one: Emptied) -> str:
    """What it would raise and by how much; "" where nothing of it is counted."""
    return " and ".join(
        f"{name} by {effect_words(name, amount, one.tank)}"
        for name, amount in sorted(one.effects.items())
    )
