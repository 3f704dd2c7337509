"""What speaks against any more of a parameter.

Floor 3. One subject: bars on a rise. Laws here: a bar holds for everything that moves
with a parameter too: what its solutions bring beside it, and what keeps a ratio to it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from slackwater.assessment.grouping import Ties
from slackwater.assessment.knobs import Knobs
from slackwater.assessment.wants import Correction, Want
from slackwater.facts.plan import PlanLine
from slackwater.facts.proposal import Evidence, Ground, Grounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """What a rise of one parameter is held against."""

    knobs: Knobs
    ties: Ties
    evidence: Mapping[str, Evidence]

    def on(self, parameter: str) -> tuple[Grounded, ...]:
        """The grounds against more of a parameter, each once; empty for none."""
        moved = sorted({parameter, *self._moved(parameter)})
        grounds = [
            ground
            for name in moved
            if name in self.evidence
            for ground in self.evidence[name].no_rise
        ]
        return tuple(self._told(ground, parameter) for ground in dict.fromkeys(grounds))

    def _told(self, ground: Ground, parameter: str) -> Grounded:
        """A block with what is behind it; other grounds say it themselves."""
        found = self.evidence.get(parameter)
        if ground is not Ground.BLOCKED or found is None or not found.why:
            return Grounded(ground=ground)
        return Grounded(ground=ground, figures={"why": " ".join(found.why)})

    def _moved(self, parameter: str) -> Iterator[str]:
        for knob in self.knobs.of(parameter):
            yield from knob.per_ul
            for tie in self.ties.of(knob.pump.id):
                yield from self.knobs.by_pump[tie.pump].per_ul


def held_want(want: Want, now: float, bars: tuple[Grounded, ...]) -> Want:
    """What is wanted a day, and no more than now where anything bars a rise.

    Range: `now` a day from all sources, 0 or more.
    """
    if not bars or want.maintenance <= now:
        return want
    return Want(maintenance=now, changed=False, grounds=bars, barred=True)


def held_correction(
    found: Evidence, coming: float, bars: tuple[Grounded, ...]
) -> Correction | None:
    """No correction where one would raise, or raises already, what must not rise.

    Where nothing is corrected anyhow, what bars a rise is told before that.
    """
    level, target = found.level, found.target
    is_below = level is not None and target is not None and level < target
    return (
        Correction(grounds=bars)
        if bars and (coming > 0 or is_below or found.blocked)
        else None
    )


def ends_correction(lines: tuple[PlanLine, ...], told: Correction) -> bool:
    """Whether a correction that runs is taken out because of a bar."""
    is_barred = any(one.ground is Ground.ABOVE_BOUND for one in told.grounds)
    return is_barred and any(one.purpose == "correction" for one in lines)
