"""Evidence → a plan for one tank, with grounds for every line.

Floor 3. One subject: proposing. Laws here: nothing runs from here; a pump for which
nothing is decided keeps its lines to the letter; side effects count before a parameter
is looked at: as decided, or else as given now; of alkalinity, calcium and magnesium one
is corrected at a time; a tank in which nothing flows and no test shows a fall gets no
dose, and no correction either.
Units: canonical per day; volumes microlitres.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from slackwater.assessment.barring import (
    Bars,
    ends_correction,
    held_correction,
    held_want,
)
from slackwater.assessment.carbon import carbon
from slackwater.assessment.deciding import Decision, most_of
from slackwater.assessment.grouping import Ties, ties_of
from slackwater.assessment.knobs import (
    BY_TESTS,
    Knob,
    Knobs,
    SureUptake,
    knobs_of,
    lasting_ul,
    level_per_pico,
    per_day_ul,
)
from slackwater.assessment.laying import lay
from slackwater.assessment.pending import pending
from slackwater.assessment.ratio import Ratio
from slackwater.assessment.starting import ONE_DAY, started
from slackwater.assessment.wants import (
    Correction,
    Given,
    Want,
    correction,
    maintenance,
    rest,
)
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.proposal import (
    Change,
    Evidence,
    Ground,
    Grounded,
    Kind,
    Proposal,
    Withheld,
)
from slackwater.facts.tank import Machine
from slackwater.water.limits import Limits, limits_of
from slackwater.water.parameters import PARAMETERS

ALKALINITY = "alkalinity"
CARBON = "carbon"
PHOSPHATE = "phosphate"
# What is judged first; everything else follows in order of its name.
ORDER = ("alkalinity", "calcium", "magnesium", "strontium", "potassium", "iodine")
TRIAD = ("alkalinity", "calcium", "magnesium")
# A correction that runs is left unless it would miss by so many dead-bands.
RUNNING_TOLERANCE = 2.0
# Whether it runs or stands in a plan alone: the lines of a correction stay as they are.
GOES_ON = frozenset({Ground.RUNNING, Ground.IN_PLAN})


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a proposal is made from; `plan` None when there is none yet.

    `runs`: the plan is in force; else nothing flows, and steps begin from nothing.
    `most_ul` a day by pump, where a proposal before this one did not fit the caps;
    `only` the pumps whose changes are taken, None for all. `begins` is the first day of
    the plan where other tanks count an earlier one; None: the day after `today`.
    """

    machine: Machine
    tank: str
    plan: Plan | None
    evidence: Mapping[str, Evidence]
    today: date
    most_ul: Mapping[str, int] = field(default_factory=dict)
    only: frozenset[str] | None = None
    runs: bool = True
    begins: date | None = None


@dataclass(slots=True, kw_only=True)
class _Work:
    """What has been decided so far; `brings` a day by parameter, canonical."""

    asked: Asked
    knobs: Knobs
    brings: dict[str, float] = field(default_factory=dict)
    decisions: dict[str, Decision] = field(default_factory=dict)
    withheld: list[Withheld] = field(default_factory=list)
    alkalinity: float | None = None

    @property
    def ties(self) -> Ties:
        """Which pumps keep a ratio to another."""
        return ties_of(self.knobs, self.asked.plan, self.asked.today)

    def aside(self, parameter: str) -> float:
        """What comes of a parameter a day beside its own pumps."""
        knobs = self.knobs
        still = knobs.still_brings(parameter, self.decisions, self.asked.today)
        return self.brings.get(parameter, 0.0) + still + knobs.outside(parameter)

    @property
    def is_new(self) -> bool:
        """Whether nothing is dosed and no two tests of anything show a fall."""
        knobs, asked = self.knobs, self.asked
        outside = any(one.tank == asked.tank for one in asked.machine.outside)
        flows = outside or any(knob.lines for knob in knobs.by_pump.values())
        return not flows and not any(one.falls for one in asked.evidence.values())

    @property
    def bars(self) -> Bars:
        """What a rise is held against."""
        return Bars(knobs=self.knobs, ties=self.ties, evidence=self.asked.evidence)


def propose(asked: Asked) -> Proposal:
    """A plan for one tank from what is known of its water.

    Raises: KeyError when the machine has no such tank.
    """
    knobs = knobs_of(asked.machine, asked.tank, asked.plan, asked.today, asked.most_ul)
    known = {name: one.uptake_low for name, one in asked.evidence.items() if one.enough}
    knobs = replace(knobs, shown_low=known)
    if not asked.runs:
        knobs = knobs.idle()
    work = _Work(asked=asked, knobs=knobs)
    for parameter in _in_order(knobs, asked.evidence):
        _decide(work, parameter)
    _one_at_a_time(work)
    return _proposal(work)


def _in_order(knobs: Knobs, evidence: Mapping[str, Evidence]) -> list[str]:
    moved = {knob.parameter for knob in knobs.by_pump.values()}
    wanted = {name for name, one in evidence.items() if one.target is not None}
    rest = sorted((moved | wanted) - set(ORDER))
    return [name for name in (*ORDER, *rest) if name in moved | wanted]


def _decide(work: _Work, parameter: str) -> None:
    found = work.asked.evidence.get(parameter, Evidence(parameter=parameter))
    knobs = work.knobs.of(parameter)
    if not knobs:
        why = Grounded(ground=Ground.NO_SOLUTION)
        if found.target is not None and found.level is not None:
            work.withheld.append(Withheld(parameter=parameter, grounds=(why,)))
        return
    aside = work.aside(parameter)
    own = sum(lasting_ul(k, work.asked.today) * k.per_ul[parameter] for k in knobs)
    want = _wanted(work, found, own + aside)
    need = max(want.maintenance - aside, 0.0) if want.changed else own
    # What is given while more is barred is not what is used up.
    known = want.changed or (own and found.enough and not want.barred)
    if parameter == ALKALINITY and known:
        work.alkalinity = want.maintenance if want.changed else own + aside
    ramp = _correct(work, found, need + aside)
    for pump, share in work.knobs.shares(parameter).items():
        knob = work.knobs.by_pump[pump]
        decided = _Decided(
            want=want, ramp=ramp, need=need * share, share=share, aside=aside
        )
        _settle(work, knob, found, decided)


def _wanted(work: _Work, found: Evidence, now: float) -> Want:
    """What a parameter needs a day, by the rule that holds for it."""
    if work.is_new:
        told = Grounded(ground=Ground.NEW_TANK)
        return Want(maintenance=0.0, changed=False, grounds=(told,))
    if found.parameter == CARBON:
        return carbon(work.asked.evidence, now, _same_days(work))
    limits = _limits(found)
    ratio = Ratio(knobs=work.knobs, evidence=work.asked.evidence, used=work.alkalinity)
    want = ratio.held(found, maintenance(ratio.scaled(found), now, limits), now)
    if want.maintenance > now and (bars := work.bars.on(found.parameter)):
        return held_want(want, now, bars)
    if found.parameter == PHOSPHATE and want.maintenance > now:
        bound = Grounded(ground=Ground.REPEATS_NO_RISE)
        return Want(maintenance=now, changed=False, grounds=(bound,))
    return want


def _same_days(work: _Work) -> float:
    """For how long the present carbon has been given."""
    today, plan = work.asked.today, work.asked.plan
    begun = [
        line.first_day or (plan.starts if plan else today)
        for knob in work.knobs.of(CARBON)
        for line in knob.lines
    ]
    return float((today - max(begun, default=today)).days)


def _correct(work: _Work, found: Evidence, total: float) -> Correction:
    if work.is_new or found.parameter == CARBON:
        return Correction(grounds=())
    parameter = found.parameter
    limits = _limits(found)
    if found.too_high and total > 0 and not found.no_dose:
        return rest(found, limits, total)
    most, by = _room(work, found, total)
    given = Given(dose=total, most=most, by=by)
    coming = pending(work.knobs, parameter, work.asked.today)
    barred = held_correction(found, coming, work.bars.on(parameter))
    if barred is not None:
        return barred
    if coming and found.level is not None:
        ahead = replace(found, level=found.level + coming)
        if not correction(ahead, limits, given, RUNNING_TOLERANCE).days:
            figures = {found.level_name: found.level, "still_coming": coming}
            ground = Ground.RUNNING if work.asked.runs else Ground.IN_PLAN
            return Correction(grounds=(Grounded(ground=ground, figures=figures),))
    return correction(found, limits, given)


def _room(work: _Work, found: Evidence, total: float) -> tuple[float, str]:
    """How much more a day may be given than `total`, and what says so."""
    cap = work.knobs.tank.caps.get(found.parameter)
    if cap is None:
        return 0.0, "no cap is stated"
    per_pico = level_per_pico(work.knobs.tank, found.parameter)
    sure = work.knobs.sure_uptake(found.parameter)
    if found.uptake is not None and found.uptake_low < sure.per_day:
        # However wide its interval is: a correction is nothing that must be.
        sure = SureUptake(per_day=found.uptake_low, by=BY_TESTS, is_shown=True)
    net = cap.gross if cap.net_rise is None else cap.net_rise
    sides = [
        (net * per_pico - max(total - sure.per_day, 0.0), f"net_rise beside {sure.by}"),
        (cap.gross * per_pico - total, "gross"),
    ]
    if found.room is not None:
        days = _limits(found).fresh_days
        sides.append((found.room / days, "the level at which dosing of it ends"))
    return min((*sides, *_pump_rooms(work, found.parameter, total)))


def _pump_rooms(
    work: _Work, parameter: str, total: float
) -> Iterator[tuple[float, str]]:
    """How much more each pump of a parameter may bring, told for all of them."""
    own = max(total - work.aside(parameter), 0.0)
    for pump, share in work.knobs.shares(parameter).items():
        if share > 0:
            knob = work.knobs.by_pump[pump]
            most, by = most_of(work.knobs, knob)
            yield max(most * knob.per_ul[parameter] / share - own, 0.0), by


def _limits(found: Evidence) -> Limits:
    item = PARAMETERS[found.parameter]
    return limits_of(found.parameter, found.target or item.natural or item.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Decided:
    """What one pump has of a decision: its `share`; `aside` comes from elsewhere."""

    want: Want
    ramp: Correction
    need: float
    share: float
    aside: float


def _settle(work: _Work, knob: Knob, found: Evidence, decided: _Decided) -> None:
    per_ul = knob.per_ul[found.parameter]
    want, ramp, share = decided.want, decided.ramp, decided.share
    # What stops any dose stops a correction too, and is told once.
    grounds = [*want.grounds, *(one for one in ramp.grounds if one not in want.grounds)]
    is_running = any(one.ground in GOES_ON for one in ramp.grounds)
    if decided.aside > 0 and want.changed:
        figures = {"per_day": decided.aside}
        grounds.append(Grounded(ground=Ground.SIDE_EFFECT, figures=figures))
    work.decisions[knob.pump.id] = Decision(
        knob=knob,
        goal_ul=decided.need / per_ul,
        changed=want.changed,
        free_ul=max(found.uptake_low - decided.aside, 0.0) * share / per_ul,
        grounds=tuple(grounds),
        correction_ul=ramp.per_day * share / per_ul,
        correction_days=ramp.days,
        running=is_running,
        relaid=ends_correction(knob.lines, ramp),
        away=_away(found) if ramp.days else 0.0,
        running_ul=sum(
            per_day_ul(line)
            for line in knob.lines
            if is_running and line.purpose == "correction"
        ),
    )
    for parameter, effect in knob.per_ul.items():
        brings = decided.need / per_ul * effect
        work.brings[parameter] = work.brings.get(parameter, 0.0) + brings


def _away(found: Evidence) -> float:
    """How far a level is from its target, in dead-bands."""
    target, level = found.target or 0.0, found.level or 0.0
    limits = limits_of(found.parameter, target or 1.0)
    return abs(target - level) / limits.dead_band


def _one_at_a_time(work: _Work) -> None:
    """Keep the correction of the triad that is needed most; the others wait."""
    triad = [one for one in work.decisions.values() if one.knob.parameter in TRIAD]
    busy = {one.knob.parameter for one in triad if one.running}
    eager = sorted(
        (one for one in triad if one.correction_days),
        key=lambda one: (-one.away, one.knob.pump.id),
    )
    if eager and not busy:
        busy = {eager[0].knob.parameter}
    for one in eager:
        if one.knob.parameter not in busy:
            waits = Grounded(ground=Ground.ONE_AT_A_TIME)
            work.decisions[one.knob.pump.id] = one.without_correction(waits)


def _proposal(work: _Work) -> Proposal:
    asked = work.asked
    told = lay(work.knobs, _taken(work), asked.plan, asked.today)
    others: tuple[PlanLine, ...] = ()
    if asked.plan is not None:
        others = tuple(one for one in asked.plan.lines if one.tank != asked.tank)
    first = asked.begins or asked.today + ONE_DAY
    base = asked.plan or Plan(name="proposed", starts=first, lines=())
    theirs = {line.group for line in others}
    groups = {name: one for name, one in base.groups.items() if name in theirs}
    plan = replace(base, lines=(*others, *told.lines), groups={**groups, **told.groups})
    return Proposal(
        tank=asked.tank,
        made_on=asked.today,
        plan=started(plan, asked.plan, first),
        changes=tuple(_change(work, one) for one in told.decisions),
        withheld=tuple(work.withheld),
        reasons=told.reasons,
    )


def _taken(work: _Work) -> Mapping[str, Decision]:
    """The decisions a person takes, with those that keep a ratio to them."""
    only = work.asked.only
    if only is None:
        return work.decisions
    ties = work.ties.by_pump
    leaders = {ties[pump].leader if pump in ties else pump for pump in only}
    taken = leaders | {pump for pump, tie in ties.items() if tie.leader in leaders}
    return {name: one for name, one in work.decisions.items() if name in taken}


def _change(work: _Work, one: Decision) -> Change:
    today = work.asked.today
    before = round(lasting_ul(one.knob, today))
    after = one.after_ul
    return Change(
        pump=one.knob.pump.id,
        solution=one.knob.pump.solution,
        parameter=one.knob.parameter,
        kind=_kind(before, after),
        before_ul=before,
        after_ul=after,
        adds={
            name: (after - before) * effect for name, effect in one.knob.per_ul.items()
        },
        grounds=one.grounds,
        correction_ul=round(one.correction_ul),
        correction_days=one.correction_days,
        relaid=one.relaid,
    )


def _kind(before: int, after: int) -> Kind:
    if before == after:
        return "same"
    if before == 0:
        return "new"
    if after == 0:
        return "ends"
    return "more" if after > before else "less"
