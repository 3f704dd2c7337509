"""What was decided for one pump, held to the caps of the machine.

Floor 3. One subject: decisions. Laws here: a decision above a cap comes down to it and
says which; a share is left for the one dose more that may begin late within 24 hours.
Units: volumes microlitres a day.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from slackwater.assessment.knobs import Knob, Knobs
from slackwater.facts.proposal import Ground, Grounded
from slackwater.facts.reasons import Figure
from slackwater.facts.tank import EffectCap

USUAL_DOSES = 12
NO_CAP = EffectCap(gross=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What was decided for one pump.

    `goal_ul` the lasting maintenance, `free_ul` what it may reach at once; `running`:
    the correction of the present plan goes on; `away` how urgent a new one is, in
    dead-bands; `after_ul` what the lines really give in the end.
    """

    knob: Knob
    goal_ul: float
    changed: bool
    free_ul: float
    grounds: tuple[Grounded, ...]
    correction_ul: float = 0.0
    correction_days: int = 0
    running: bool = False
    away: float = 0.0
    after_ul: int = 0

    @property
    def is_raised(self) -> bool:
        """Whether a correction comes on top."""
        return self.correction_ul > 0 and self.correction_days > 0

    @property
    def is_held_back(self) -> bool:
        """Whether a part is withheld for some days."""
        return self.correction_ul < 0 and self.correction_days > 0

    def without_correction(self, *more: Grounded) -> "Decision":
        """The same without its ramp, with further grounds."""
        ramp = {Ground.CORRECTION_UP, Ground.CORRECTION_DOWN, Ground.RETEST}
        kept = (one for one in self.grounds if one.ground not in ramp)
        return replace(
            self, correction_ul=0.0, correction_days=0, grounds=(*kept, *more)
        )


def capped(knobs: Knobs, one: Decision) -> Decision:
    """A decision held to the caps of its pump and of all it brings."""
    if not one.changed and not one.is_raised:
        return one
    most, where = min(_caps(knobs, one.knob))
    wanted = one.goal_ul + max(one.correction_ul, 0.0)
    if wanted <= most:
        return one
    figures: dict[str, Figure] = {
        "wanted_ul": round(wanted),
        "most_ul": int(most),
        "cap": where,
    }
    told = Grounded(ground=Ground.CAPPED, figures=figures)
    if not one.changed:
        return one.without_correction(told)
    lower = replace(one, goal_ul=min(one.goal_ul, most), free_ul=min(one.free_ul, most))
    if one.is_raised:
        return lower.without_correction(told)
    return replace(lower, grounds=(*one.grounds, told))


def _caps(knobs: Knobs, knob: Knob) -> Iterator[tuple[float, str]]:
    count = max((line.count for line in knob.lines), default=USUAL_DOSES)
    room = count / (count + 1)
    if knob.pump.id in knobs.most_ul:
        yield knobs.most_ul[knob.pump.id], "what fits under the caps at their latest"
    yield knob.pump.per_day_ul * room, f"[pump.{knob.pump.id}] most_per_day"
    tank = knobs.tank
    for parameter, pico in knob.solution.effects.items():
        cap = tank.caps.get(parameter, NO_CAP)
        outside = sum(
            one.per_day
            for one in knobs.machine.outside
            if (one.tank, one.parameter) == (tank.id, parameter)
        )
        place = f"[tank.{tank.id}.caps.{parameter}]"
        yield (cap.gross - outside) / pico * room, f"{place} gross"
        if cap.net_rise is not None:
            stated = tank.uptake.get(parameter)
            low = stated.low if stated else 0
            most = cap.net_rise + low - outside
            yield most / pico * room, f"{place} net_rise"
