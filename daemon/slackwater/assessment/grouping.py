"""Lines in a fixed ratio, when a proposal changes them.

Floor 3. One subject: groups. Laws here: one pump of a group leads, the others keep
their ratio to it to the microlitre; a group that cannot be told keeps its lines.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import gcd, lcm

from slackwater.assessment.knobs import Knobs, goes_on
from slackwater.assessment.pending import is_correcting
from slackwater.facts.plan import Group, Plan, PlanLine

ALKALINITY = "alkalinity"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tie:
    """A pump that follows `leader` in `group`: its volume is `own` to `led`."""

    pump: str
    leader: str
    group: str
    own: int
    led: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ties:
    """Every pump of a tank that follows another one."""

    by_pump: Mapping[str, Tie] = field(default_factory=dict)

    def of(self, leader: str) -> tuple[Tie, ...]:
        """Who follows a leader, in order of pump."""
        return tuple(t for t in self.by_pump.values() if t.leader == leader)


def ties_of(knobs: Knobs, plan: Plan | None, today: date) -> Ties:
    """Who follows whom: the alkalinity pump of a group leads, else its first line."""
    if plan is None:
        return Ties()
    ties: dict[str, Tie] = {}
    for name, group in sorted(plan.groups.items()):
        lines = [one for one in plan.lines if one.group == name and goes_on(one, today)]
        known = all(
            one.pump in knobs.by_pump and not is_correcting(one) for one in lines
        )
        if not known or {one.id for one in lines} != set(group.ratio):
            continue
        lead = _leader(knobs, lines)
        ties |= {
            one.pump: Tie(
                pump=one.pump,
                leader=lead.pump,
                group=name,
                own=group.ratio[one.id],
                led=group.ratio[lead.id],
            )
            for one in lines
            if one.pump != lead.pump
        }
    return Ties(by_pump=ties)


def grain_of(ties: Sequence[Tie]) -> int:
    """What the leader's amount must be a multiple of, for whole microlitres of all."""
    return lcm(1, *(tie.led // gcd(tie.own, tie.led) for tie in ties))


def groups_of(
    lines: Sequence[PlanLine], plan: Plan | None, ties: Ties
) -> dict[str, Group]:
    """The groups that lines name, with the ratios they were laid by."""
    present = plan.groups if plan else {}
    groups = {}
    for name in sorted({line.group for line in lines if line.group}):
        members = [line for line in lines if line.group == name]
        known = present.get(name)
        if known is None or set(known.ratio) != {line.id for line in members}:
            known = Group(id=name, ratio=_ratio(members, ties))
        groups[name] = known
    return groups


def _leader(knobs: Knobs, lines: Sequence[PlanLine]) -> PlanLine:
    for line in lines:
        if knobs.by_pump[line.pump].parameter == ALKALINITY:
            return line
    return lines[0]


def _ratio(members: Sequence[PlanLine], ties: Ties) -> dict[str, int]:
    """Shares over a common leader's share, as the ties have them."""
    followers = {
        line.id: ties.by_pump[line.pump]
        for line in members
        if line.pump in ties.by_pump
    }
    led = lcm(1, *(tie.led for tie in followers.values()))
    return {
        line.id: followers[line.id].own * led // followers[line.id].led
        if line.id in followers
        else led
        for line in members
    }
