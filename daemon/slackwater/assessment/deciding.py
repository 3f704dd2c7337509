"""What was decided for one pump, held to the caps of the machine.

Floor 3. One subject: decisions. Laws here: a decision above a cap comes down to it and
says which; a share is left for the one dose more that may begin late within 24 hours.
Units: volumes microlitres a day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf

from slackwater.assessment.grouping import Tie
from slackwater.assessment.knobs import Knob, Knobs, level_per_pico, per_day_ul
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
    dead-bands; `after_ul` what the lines really give in the end. `running_ul` a day is
    what that correction adds, `most_ul` what the caps allow; `relaid`: the lines change
    though the lasting amount may not.
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
    running_ul: float = 0.0
    most_ul: float = inf
    relaid: bool = False

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
        ramp = {
            Ground.CORRECTION_UP,
            Ground.CORRECTION_DOWN,
            Ground.RETEST,
            Ground.RESTS,
        }
        kept = (one for one in self.grounds if one.ground not in ramp)
        return replace(
            self, correction_ul=0.0, correction_days=0, grounds=(*kept, *more)
        )


def capped(knobs: Knobs, one: Decision, followers: Sequence[Tie] = ()) -> Decision:
    """A decision held to the caps of its pump, of its followers and of all they bring.

    What stays as it is only comes down where it has turned out not to fit.
    """
    held = _by_its_own(knobs, one)
    fits = any(tie.pump in knobs.most_ul for tie in followers)
    if not followers or not (held.changed or fits):
        return held
    most, where = min(_caps_of_followers(knobs, followers))
    # A follower that may give nothing at all ends no leader: a check refuses it.
    lower = replace(held, most_ul=min(held.most_ul, most)) if most > 0 else held
    if held.goal_ul <= most or most <= 0:
        return lower
    told = _told(held.goal_ul, most, where)
    return replace(
        lower,
        goal_ul=most,
        changed=True,
        free_ul=min(held.free_ul, most),
        grounds=(*held.grounds, told),
    )


def _caps_of_followers(
    knobs: Knobs, followers: Sequence[Tie]
) -> Iterator[tuple[float, str]]:
    """What a leader may give so that whoever keeps a ratio to it fits its own caps."""
    for tie in followers:
        for most, where in _caps(knobs, knobs.by_pump[tie.pump]):
            yield most * tie.led / tie.own, where


def _told(wanted: float, most: float, where: str) -> Grounded:
    figures: dict[str, Figure] = {
        "wanted_ul": round(wanted),
        "most_ul": int(most),
        "cap": where,
    }
    return Grounded(ground=Ground.CAPPED, figures=figures)


def _by_its_own(knobs: Knobs, one: Decision) -> Decision:
    acts = one.changed or one.is_raised
    if not acts and one.knob.pump.id not in knobs.most_ul:
        return one
    most, where = min(_caps(knobs, one.knob) if acts else _found(knobs, one.knob))
    held = replace(one, most_ul=most)
    wanted = one.goal_ul + max(one.correction_ul, 0.0) + one.running_ul
    told = _told(wanted, most, where)
    if wanted > most:
        return _lowered(knobs, held, told)
    if not one.changed and _highest(one.knob) > most:
        return replace(held, changed=True, relaid=True, grounds=(*one.grounds, told))
    return held


def most_of(knobs: Knobs, knob: Knob) -> tuple[float, str]:
    """The most a pump may give a day by all caps it meets, and which one says so."""
    return min(_caps(knobs, knob))


def _lowered(knobs: Knobs, one: Decision, told: Grounded) -> Decision:
    """Without any correction, and the lasting amount no higher than the cap."""
    stays = not one.changed and one.knob.pump.id not in knobs.most_ul
    goal = one.goal_ul if stays else min(one.goal_ul, one.most_ul)
    return replace(
        one.without_correction(told),
        goal_ul=goal,
        changed=one.changed or goal < one.goal_ul,
        free_ul=min(one.free_ul, one.most_ul),
        running=False,
        relaid=bool(one.running_ul),
        running_ul=0.0,
    )


def _highest(knob: Knob) -> float:
    """The largest amount a day of any line that lasts or is a step."""
    kept = [line for line in knob.lines if line.purpose == "maintenance"]
    return max((per_day_ul(line) for line in kept), default=0.0)


def _found(knobs: Knobs, knob: Knob) -> Iterator[tuple[float, str]]:
    """What has turned out to fit, where anything did not."""
    if knob.pump.id in knobs.most_ul:
        yield knobs.most_ul[knob.pump.id], "what fits under the caps at their latest"


def _caps(knobs: Knobs, knob: Knob) -> Iterator[tuple[float, str]]:
    count = max((line.count for line in knob.lines), default=USUAL_DOSES)
    room = count / (count + 1)
    yield from _found(knobs, knob)
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
        yield max(cap.gross - outside, 0) / pico * room, f"{place} gross"
        if cap.net_rise is not None:
            sure = knobs.sure_uptake(parameter)
            low = sure.per_day / level_per_pico(tank, parameter)
            most = max(cap.net_rise + low - outside, 0.0) / pico * room
            if sure.is_shown:
                # Tests that say less bar a rise; they make no lower dose by themselves.
                most = max(most, knob.given_ul)
            yield most, f"{place} net_rise beside {sure.by}"
