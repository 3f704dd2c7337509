"""Decisions → lines, day by day.

Floor 3. One subject: laying decisions over days. Laws here: a pump without a change
keeps its lines to the letter; steps follow each other without a gap; a correction that
adds has a line and an end of its own.
Units: volumes microlitres a day.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import groupby
from math import lcm

from slackwater.assessment.deciding import Decision, capped
from slackwater.assessment.grouping import (
    Tie,
    Ties,
    grain_of,
    groups_of,
    ties_of,
)
from slackwater.assessment.knobs import Knobs, goes_on, lasting_ul, per_day_ul
from slackwater.assessment.pending import HELD_BACK
from slackwater.assessment.sizing import (
    COARSE_UL,
    Portion,
    line_for,
    rounded_down,
)
from slackwater.assessment.stepping import steps
from slackwater.facts.plan import Group, Plan, PlanLine
from slackwater.facts.proposal import Ground, Grounded
from slackwater.water.ramps import dead_band

# A first step from nothing, as part of the rise a day: 0.1 of 0.5 dKH.
FIRST_STEP_SHARE = 0.2
# Less than this share left out by rounding is not worth a word.
ROUNDING_SHARE = 0.02
ONE_DAY = timedelta(days=1)
NAME_AT_MOST = 32

# What shows that the own tests of a parameter do not tell its uptake.
_UNSURE = frozenset({Ground.LITTLE_EVIDENCE, Ground.SURE_PART, Ground.STOICHIOMETRY})


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """The lines of one tank with what they rest on."""

    lines: tuple[PlanLine, ...]
    groups: Mapping[str, Group]
    decisions: tuple[Decision, ...]
    reasons: Mapping[str, tuple[Grounded, ...]]


@dataclass(slots=True, kw_only=True)
class _Sheet:
    """What has been laid so far."""

    knobs: Knobs
    ties: Ties
    today: date
    lines: list[PlanLine] = field(default_factory=list)
    decisions: dict[str, Decision] = field(default_factory=dict)
    reasons: dict[str, tuple[Grounded, ...]] = field(default_factory=dict)

    def add(self, line: PlanLine, grounds: tuple[Grounded, ...]) -> None:
        self.lines.append(line)
        self.reasons[line.id] = grounds


def lay(
    knobs: Knobs, decisions: Mapping[str, Decision], plan: Plan | None, today: date
) -> Laid:
    """The lines of a tank after the decisions, in the order of the present plan."""
    ties = ties_of(knobs, plan, today)
    sheet = _Sheet(knobs=knobs, ties=ties, today=today)
    for pump, found in decisions.items():
        if pump in ties.by_pump and ties.by_pump[pump].leader in decisions:
            continue
        followers = [tie for tie in ties.of(pump) if tie.pump in decisions]
        decision = capped(knobs, found, followers)
        if decision.changed or decision.is_held_back:
            _replace(sheet, decision, followers)
        else:
            _keep(sheet, decision, followers)
        for tie in followers:
            _follow(sheet, decisions[tie.pump], tie)
    lines = _sorted([*_untouched(knobs, decisions, plan, today), *sheet.lines], plan)
    return Laid(
        lines=tuple(lines),
        groups=groups_of(lines, plan, ties),
        decisions=tuple(sheet.decisions.values()),
        reasons=sheet.reasons,
    )


def _untouched(
    knobs: Knobs, decisions: Mapping[str, Decision], plan: Plan | None, today: date
) -> Iterator[PlanLine]:
    for line in plan.lines if plan else ():
        mine = line.tank == knobs.tank.id and line.pump not in decisions
        if mine and goes_on(line, today):
            yield line


def _keep(sheet: _Sheet, one: Decision, followers: Sequence[Tie]) -> None:
    for pump in (one.knob.pump.id, *(tie.pump for tie in followers)):
        for line in sheet.knobs.by_pump[pump].lines:
            # A new correction takes the place of one that still runs.
            again = one.is_raised or one.relaid
            replaced = again and pump == one.knob.pump.id
            if not (replaced and line.purpose == "correction"):
                sheet.add(line, one.grounds)
    after = round(lasting_ul(one.knob, sheet.today))
    _finish(sheet, replace(one, after_ul=after))


def _replace(sheet: _Sheet, one: Decision, followers: Sequence[Tie]) -> None:
    if one.running:
        for line in one.knob.lines:
            if line.purpose == "correction":
                sheet.add(line, one.grounds)
    amounts = _amounts(one)
    if len(amounts) > 1 and one.changed:
        told = Grounded(ground=Ground.STEPS, figures={"days": len(amounts)})
        one = replace(one, grounds=(*one.grounds, told))
    after = 0.0
    for portion in _portions(one, amounts, sheet.today, followers):
        lines = list(_lines(sheet, one, portion, followers))
        after = per_day_ul(lines[0]) if lines else 0.0
        for line in lines:
            sheet.add(line, one.grounds)
    one = replace(one, after_ul=round(after))
    _finish(sheet, replace(one, grounds=(*one.grounds, *_left_out(one))))


def _lines(
    sheet: _Sheet, one: Decision, portion: Portion, followers: Sequence[Tie]
) -> Iterator[PlanLine]:
    """The line of a portion and those that follow it.

    A follower that cannot give its share is left out: what leads goes on.
    """
    led = line_for(one.knob, portion)
    if led is None:
        return
    found = []
    for tie in followers:
        ours = replace(
            portion,
            id=portion.id.replace(one.knob.pump.id, tie.pump, 1),
            per_day_ul=portion.per_day_ul * tie.own / tie.led,
        )
        found.append(line_for(sheet.knobs.by_pump[tie.pump], ours))
    given = [line for line in found if line]
    # One line alone keeps no ratio.
    yield led if given else replace(led, group="")
    yield from given


def _left_out(one: Decision) -> Iterator[Grounded]:
    """What the pump cannot give of what was decided."""
    left = one.goal_ul - one.after_ul
    figures = {"wanted_ul": round(one.goal_ul), "given_ul": one.after_ul}
    stepped = any(ground.ground is Ground.STEPS for ground in one.grounds)
    if one.goal_ul > 0 and not one.after_ul:
        smallest = {"smallest_ul": one.knob.pump.smallest_dose_ul}
        yield Grounded(ground=Ground.TOO_SMALL, figures={**figures, **smallest})
    elif left > ROUNDING_SHARE * one.goal_ul and not stepped:
        yield Grounded(ground=Ground.ROUNDED, figures=figures)


def _finish(sheet: _Sheet, one: Decision) -> None:
    """Lay the correction that adds, and write the decision down."""
    if one.is_raised:
        portion = Portion(
            id=_named(one.knob.pump.id, "-up"),
            per_day_ul=one.correction_ul,
            purpose="correction",
            first_day=sheet.today + ONE_DAY,
            last_day=sheet.today + one.correction_days * ONE_DAY,
        )
        pump = one.knob.pump.id
        beside = {each.count for each in sheet.lines if each.pump == pump}
        line = line_for(one.knob, portion, beside)
        if line is None:
            figures = {"wanted_ul": round(one.correction_ul)}
            small = Grounded(ground=Ground.TOO_SMALL, figures=figures)
            one = one.without_correction(small)
        else:
            sheet.add(line, one.grounds)
            # What is told is what the line gives, not what was wanted of it.
            one = replace(one, correction_ul=per_day_ul(line))
    sheet.decisions[one.knob.pump.id] = one


def _follow(sheet: _Sheet, one: Decision, tie: Tie) -> None:
    """What became of a pump that keeps the ratio of its group."""
    pump = one.knob.pump.id
    after, led = (
        sum(
            per_day_ul(line)
            for line in sheet.lines
            if line.pump == name
            and line.purpose == "maintenance"
            and line.last_day is None
        )
        for name in (pump, tie.leader)
    )
    tied = _tied(one, after)
    if led and not after:
        smallest = {"smallest_ul": one.knob.pump.smallest_dose_ul}
        figures = {"wanted_ul": round(led * tie.own / tie.led), **smallest}
        tied = (*tied, Grounded(ground=Ground.TOO_SMALL, figures=figures))
    sheet.decisions[pump] = replace(
        one.without_correction(), after_ul=round(after), grounds=tied
    )
    for line in sheet.lines:
        if line.pump == pump:
            sheet.reasons[line.id] = tied


def _tied(one: Decision, after_ul: float) -> tuple[Grounded, ...]:
    """Why it moves, with a warning where its own tests do not show that it should."""
    tied = Grounded(ground=Ground.GROUP)
    moved = after_ul - one.knob.now_ul
    unsure = next((told for told in one.grounds if _is_unsure(told, one, moved)), None)
    if unsure is None or not round(moved):
        return (tied,)
    return tied, Grounded(ground=Ground.GROUP_UNSURE, figures=unsure.figures)


def _is_unsure(told: Grounded, one: Decision, moved_ul: float) -> bool:
    """Whether a ground of its own does not speak for the move of its group.

    An amount that would have stayed by itself, because what is missing is chance, may
    move by as much as that chance and no further.
    """
    if told.ground is not Ground.UNCERTAIN:
        return told.ground in _UNSURE
    now, sd = (float(told.figures[name] or 0) for name in ("now_per_day", "sd_per_day"))
    return abs(moved_ul) * one.knob.per_ul[one.knob.parameter] > dead_band(now, sd)


def _amounts(one: Decision) -> list[float]:
    """What is given on each day from tomorrow on; the last one stays."""
    knob = one.knob
    first = FIRST_STEP_SHARE * knob.limits.rise_per_day / knob.per_ul[knob.parameter]
    # What a cap does not allow is no step on the way either.
    flows = one.knob.given_ul if one.changed else one.knob.now_ul
    now = min(flows, one.most_ul)
    goal = one.goal_ul if one.changed else now
    amounts = list(steps(now, goal, first, one.free_ul))
    if one.is_held_back:
        amounts += [amounts[-1]] * (one.correction_days + 1 - len(amounts))
        for day in range(one.correction_days):
            amounts[day] = max(amounts[day] + one.correction_ul, 0.0)
    return amounts


def _portions(
    one: Decision, amounts: list[float], today: date, followers: Sequence[Tie]
) -> Iterator[Portion]:
    """Equal amounts of days that follow each other, as one portion each."""
    grain = grain_of(followers)
    rounded = [_grained(x, grain) if followers else _readable(x) for x in amounts]
    runs = [(amount, len(list(same))) for amount, same in groupby(rounded)]
    day = today + ONE_DAY
    for number, (amount, days) in enumerate(runs, start=1):
        last = number == len(runs)
        name = _name(one, 0 if last else number)
        yield Portion(
            id=name,
            per_day_ul=amount,
            first_day=None if len(runs) == 1 else day,
            last_day=None if last else day + (days - 1) * ONE_DAY,
            group=_group(followers, "" if last else str(number)),
            exact=bool(followers),
        )
        day += days * ONE_DAY


def _name(one: Decision, number: int) -> str:
    pump = one.knob.pump.id
    if not number:
        return pump
    if one.is_held_back:
        return _named(pump, f"-{number}{HELD_BACK}")
    return _named(pump, f"-step-{number}")


def _named(stem: str, tail: str) -> str:
    return stem[: NAME_AT_MOST - len(tail)] + tail


def _group(followers: Sequence[Tie], number: str) -> str:
    if not followers:
        return ""
    name = followers[0].group
    return _named(name, f"-{number}") if number else name


def _readable(amount: float) -> float:
    return rounded_down(int(amount)) or amount


def _grained(amount: float, grain: int) -> float:
    coarse = lcm(grain, COARSE_UL)
    return int(amount) // coarse * coarse or int(amount) // grain * grain


def _sorted(lines: list[PlanLine], plan: Plan | None) -> list[PlanLine]:
    """Lines in the order of the present plan's pumps, then by purpose and first day."""
    known = [line.pump for line in plan.lines] if plan else []
    return sorted(
        lines,
        key=lambda line: (
            known.index(line.pump) if line.pump in known else len(known),
            line.pump,
            line.purpose == "correction",
            line.first_day or date.min,
        ),
    )
