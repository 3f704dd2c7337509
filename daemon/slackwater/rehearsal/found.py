"""What the parts of a machine came to, and all of them as one.

Floor 6. One subject: records put together. Laws here: the order in the whole follows
from the records alone, never from which part was done first or where.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

from slackwater.rehearsal.parts import Part
from slackwater.rehearsal.record import Nearest, RehearsedDose

BY_DUE = attrgetter("dose.due_at", "dose.id")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The doses of a part, by due time and name, and how near they came to caps."""

    doses: tuple[RehearsedDose, ...]
    nearest: tuple[Nearest, ...]


# Does parts, here or elsewhere; answers in the order of the parts.
Spread = Callable[[Sequence[Part]], Sequence[Found]]


def found_in(
    part: Part, doses: Iterable[RehearsedDose], nearest: Iterable[Nearest]
) -> Found:
    """The doses of the days that were asked for, in order."""
    kept = (each for each in doses if part.first <= each.dose.local_day <= part.until)
    return Found(doses=tuple(sorted(kept, key=BY_DUE)), nearest=tuple(nearest))


def all_doses(found: Sequence[Found]) -> tuple[RehearsedDose, ...]:
    """The doses of all parts by due time and name."""
    if len(found) == 1:
        return found[0].doses
    return tuple(sorted((each for one in found for each in one.doses), key=BY_DUE))


def all_nearest(found: Iterable[Found]) -> tuple[Nearest, ...]:
    """The approaches of all parts, the nearest first.

    Equal ones: by part, then as they were found.
    """
    nearest = (each for one in found for each in one.nearest)
    return tuple(sorted(nearest, key=lambda near: -near.share))
