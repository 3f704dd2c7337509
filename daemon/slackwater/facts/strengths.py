"""How strong what a pump gave was, by what was recorded of its doses.

Floor 2. One subject: a change of strength. Laws here: what flowed counts and not what a
file says; a strength within a few percent of the known one is the same; it is new from
its first dose on.
Units: effects in pico-units of the tank per microlitre.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from slackwater.facts.doses import DoseIntended

# A bottle made up by hand differs by less (common practice, no source).
SAME_PERCENT = 5


@dataclass(slots=True, kw_only=True)
class Strength:
    """What a microlitre of a pump adds, and when it began to add that.

    `since` and `since_ms`, wall and proven time, are None for the first solution that
    was ever recorded of a pump: nothing was there before it.
    """

    per_ul: dict[str, int]
    since: datetime | None = None
    since_ms: int | None = None


def note_strength(known: dict[str, Strength], event: DoseIntended) -> None:
    """Take in what a dose adds; `known` is by pump."""
    if not event.in_water or not event.effects:
        return
    volume_ul, pump = event.command.ul, event.dose.pump
    before = known.get(pump)
    if before is not None and is_same(before.per_ul, event.effects, volume_ul):
        return
    per_ul = {name: amount // volume_ul for name, amount in event.effects.items()}
    if before is None:
        known[pump] = Strength(per_ul=per_ul)
    else:
        known[pump] = Strength(per_ul=per_ul, since=event.at, since_ms=event.proven_ms)


def is_same(
    per_ul: Mapping[str, int], effects: Mapping[str, int], volume_ul: int = 1
) -> bool:
    """Whether effects of so many microlitres are those known, but for a few percent."""
    if per_ul.keys() != effects.keys():
        return False
    for name, amount in per_ul.items():
        expected = amount * volume_ul
        if abs(effects[name] - expected) * 100 > expected * SAME_PERCENT:
            return False
    return True
