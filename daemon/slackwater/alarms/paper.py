"""What runs out: approvals, checks, calibrations, bottles, tasks, changed files.

Floor 4. One subject: what a person has to renew. Laws here: it is told while there is
still time; a thing that ran out stops doses and is told as such.
Source: calibrations are measured again after 75 and at the latest 90 days, approvals
are renewed from 14 days on, bottles filled from a week on; common practice, no source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from slackwater.alarms.conditions import (
    EVERYTHING,
    Condition,
    dose_ul,
    of_all,
    of_lines,
    of_pumps,
    used_pumps,
)
from slackwater.alarms.row import TUBE_SWAPPED
from slackwater.facts.alarms import Cause, Priority
from slackwater.facts.inventory import left_ul
from slackwater.facts.limits import limits_of
from slackwater.facts.plan import Approval
from slackwater.facts.reasons import Figure
from slackwater.facts.relays import CHECK_ENDING, CHECK_ENDING_SOON, check_of
from slackwater.facts.tank import Pump
from slackwater.facts.wear import (
    MEASURED_LATE,
    NEARLY_WORN,
    is_unmeasured,
    measured_share,
    tube_run_s,
    tube_share,
)
from slackwater.gate.drift import drift_of, stops_beyond
from slackwater.gate.losses import lost_ul
from slackwater.gate.moment import LineRule, Moment
from slackwater.planning.draws import lines_last_days
from slackwater.planning.stretches import day_in, is_over

A_DAY = timedelta(days=1)
S_PER_HOUR = 3600
# An audit is made each day; one may fail, or the machine be off for a night.
AUDIT_LATE = timedelta(hours=50)
ENDING, ENDING_SOON = timedelta(days=14), timedelta(days=3)
CALIBRATION_DUE, CALIBRATION_LATE = timedelta(days=75), timedelta(days=90)
# A bottle that lasts so many days is told, then told again.
LOW_DAYS, LOWER_DAYS = 7.0, 3.0


def paper(moment: Moment, differ: tuple[str, ...] = ()) -> Iterator[Condition]:
    """Every condition of this kind; `differ` names files that are not as approved."""
    yield from _approval(moment)
    yield from _relays(moment)
    for pump in used_pumps(moment):
        yield from _calibration(moment, pump)
        yield from _tube(moment, pump)
    yield from _bottles(moment)
    yield from _tasks(moment)
    yield from _audit(moment)
    if differ:
        names = ", ".join(differ)
        yield Condition(
            cause=Cause.FILES_DIFFER, about=EVERYTHING, figures={"files": names}
        )


def _approval(moment: Moment) -> Iterator[Condition]:
    approval, utc = moment.approval, moment.now.utc
    if approval is None:
        # In shadow there may be none yet, and one may begin at the next midnight.
        if moment.state.stage == "live" and not _begins(moment):
            yield of_all(moment, Cause.NO_PLAN)
        return
    left = approval.expires_at - utc
    figures = {"ends": _day(approval.expires_at)}
    if approval.ends_at <= utc:
        yield of_all(moment, Cause.APPROVAL_EXPIRED, **figures)
    elif left <= timedelta():
        yield _grace(moment, approval)
    elif left <= ENDING and not _follows(moment, approval):
        least: Priority = "soon" if left <= ENDING_SOON else "note"
        yield Condition(
            cause=Cause.APPROVAL_ENDING, about=EVERYTHING, least=least, figures=figures
        )


def _relays(moment: Moment) -> Iterator[Condition]:
    """A relay that counts as tried out for a last while; the gate tells its end."""
    behind: dict[str, set[str]] = {}
    for pump in used_pumps(moment):
        behind.setdefault(pump.node, set()).add(pump.tank)
    for name, tanks in sorted(behind.items()):
        relay = moment.machine.nodes[name].relay
        known = check_of(moment.state.relay_checks, name, relay)
        left = timedelta() if known is None else known.until - moment.now.utc
        if known is None or not timedelta() < left <= CHECK_ENDING:
            continue
        yield Condition(
            cause=Cause.RELAY_CHECK_ENDING,
            about=name,
            tanks=tuple(sorted(tanks)),
            least="soon" if left <= CHECK_ENDING_SOON else "note",
            figures={"ends": _day(known.until)},
        )


def _grace(moment: Moment, approval: Approval) -> Condition:
    """What is left of the time after the end; told anew each day."""
    utc = moment.now.utc
    days = (utc - approval.expires_at).days
    lasts = max(approval.ends_at - approval.expires_at, A_DAY)
    corrections = [
        name
        for name, rule in moment.rules.lines.items()
        if rule.line.purpose == "correction"
    ]
    about = (Cause.APPROVAL_GRACE, EVERYTHING)
    figures: dict[str, Figure] = {
        "nothing_after": _day(approval.ends_at),
        "days_left": -((utc - approval.ends_at) // A_DAY),
    }
    found = of_lines(moment, about, corrections, **figures)
    # From 1: the first day is told as well when it takes the place of another step.
    return replace(found, step=1 + int(days * A_DAY / lasts * 99))


def _audit(moment: Moment) -> Iterator[Condition]:
    """What the newest audit found, and one that is late; where none was made, none."""
    audit = moment.state.audited
    if audit is None:
        return
    if audit.faults:
        yield Condition(
            cause=Cause.NOT_AS_APPROVED,
            about="audit",
            tanks=tuple(sorted(moment.machine.tanks)),
            figures={"faults": audit.faults, "first": audit.first},
        )
    if moment.now.utc - audit.at > AUDIT_LATE:
        figures = {"newest": _day(audit.at)}
        yield Condition(cause=Cause.AUDIT_OVERDUE, about=EVERYTHING, figures=figures)


def _begins(moment: Moment) -> bool:
    """Whether an approval takes over within a day."""
    utc = moment.now.utc
    return any(
        utc < one.approval.takes_over_at <= utc + A_DAY
        for one in moment.state.approvals
    )


def _follows(moment: Moment, approval: Approval) -> bool:
    """Whether a later approval, which lasts longer, takes over before it ends."""
    ends = approval.expires_at
    return any(
        one.approval.serial > approval.serial
        and one.approval.takes_over_at < ends < one.approval.expires_at
        for one in moment.state.approvals
    )


def _calibration(moment: Moment, pump: Pump) -> Iterator[Condition]:
    known, approval = moment.state.calibrations.get(pump.id), moment.approval
    if known is None or approval is None:
        return
    if known.cal != approval.calibrations.get(pump.id, ""):
        yield of_pumps(moment, (Cause.CALIBRATION_CHANGED, pump.id), [pump])
    age = moment.now.utc - known.at
    ran = measured_share(moment.state, pump)
    is_new = is_unmeasured(moment.state, pump.id)
    ends_s = limits_of(moment.machine.limits, pump.tank).calibration_ends_s
    is_past = is_new or age >= timedelta(seconds=ends_s)
    ended = _corrections(moment, [pump]) if is_past else []
    if age >= CALIBRATION_DUE or ran >= 1 or is_new or ended:
        is_late = age >= CALIBRATION_LATE or ran >= MEASURED_LATE or is_new
        figures: dict[str, Figure] = {"age_days": age.days}
        if is_new:
            # Its age is no reason: it says nothing of this tube, however young it is.
            swapped = _day(moment.state.tubes[pump.id])
            figures = {"measured": _day(known.at), TUBE_SWAPPED: swapped}
        due = (Cause.CALIBRATION_DUE, pump.id)
        found = of_lines(moment, due, ended, **figures)
        least: Priority = "soon" if is_late or ended else "note"
        yield replace(found, tanks=(pump.tank,), least=least)


def _tube(moment: Moment, pump: Pump) -> Iterator[Condition]:
    """A tube that ran nine tenths of its life, and one that is worn."""
    share = tube_share(moment.state, pump)
    if share >= NEARLY_WORN:
        yield Condition(
            cause=Cause.TUBE_WORN,
            about=pump.id,
            tanks=(pump.tank,),
            least="soon" if share >= 1 else "note",
            figures={
                "ran_h": round(tube_run_s(moment.state, pump.id) / S_PER_HOUR, 1),
                "life_h": round(pump.tube_life_s / S_PER_HOUR, 1),
            },
        )


def _bottles(moment: Moment) -> Iterator[Condition]:
    sharing: dict[str, list[Pump]] = {}
    for pump in used_pumps(moment):
        sharing.setdefault(pump.reservoir, []).append(pump)
    for name, pumps in sorted(sharing.items()):
        yield from _bottle(moment, name, pumps)


def _lines(moment: Moment, pumps: list[Pump], today: date) -> list[LineRule]:
    """The lines that draw with these pumps, today or on a day to come."""
    names = {pump.id for pump in pumps}
    return [
        rule
        for rule in moment.rules.lines.values()
        if rule.line.pump in names and not is_over(rule.line, today)
    ]


def _days(
    moment: Moment, lines: Sequence[LineRule], left: int, today: date
) -> float | None:
    """How long a content lasts these lines, each on its own days; None if for good.

    A content that no week could use up is not looked at day by day.
    """
    if left >= LOW_DAYS * sum(rule.line.per_day_ul for rule in lines):
        return None
    drawn = [rule.line for rule in lines]
    return lines_last_days(drawn, moment.rules.starts or today, left, today)


def _bottle(moment: Moment, name: str, pumps: list[Pump]) -> Iterator[Condition]:
    today = day_in(moment.machine.tanks[pumps[0].tank].zone, moment.now.utc)
    left = left_ul(moment.machine, moment.state, name)
    lines = _lines(moment, pumps, today)
    lost = lost_ul(moment.machine, moment.state, name)
    if lost > 0:
        yield of_pumps(moment, (Cause.BOTTLE_LOST, name), pumps, lost_ul=lost)
    if left < max((dose_ul(rule) for rule in lines), default=0):
        yield of_pumps(moment, (Cause.RESERVOIR_EMPTY, name), pumps, left_ul=left)
        return
    yield from _drift(moment, name, pumps)
    yield from _low(moment, name, pumps, (left, _days(moment, lines, left, today)))


def _low(
    moment: Moment, name: str, pumps: list[Pump], lasts: tuple[int, float | None]
) -> Iterator[Condition]:
    """A bottle that lasts some days, or that is too low for corrections already.

    `lasts` is what is left, and for how many days, None for more than are looked at.
    """
    left, days = lasts
    is_judged = name in moment.state.fills
    is_low = is_judged and left <= moment.machine.reservoirs[name].low_ul
    ended = _corrections(moment, pumps) if is_low else []
    is_near = days is not None and days < LOW_DAYS
    if not (is_near or ended):
        return
    figures: dict[str, Figure] = {"left_ul": left}
    if days is not None:
        figures["days"] = round(days, 1)
    found = of_lines(moment, (Cause.RESERVOIR_LOW, name), ended, **figures)
    soon = ended or (days is not None and days < LOWER_DAYS)
    tanks = tuple(sorted({pump.tank for pump in pumps}))
    yield replace(found, tanks=tanks, least="soon" if soon else "note")


def _corrections(moment: Moment, pumps: list[Pump]) -> list[str]:
    """The lines of these pumps that correct, today or on a day to come."""
    names = {pump.id for pump in pumps}
    return [
        name
        for name, rule in moment.rules.lines.items()
        if rule.line.pump in names
        and rule.line.purpose == "correction"
        and not is_over(
            rule.line,
            day_in(moment.machine.tanks[rule.line.tank].zone, moment.now.utc),
        )
    ]


def _drift(moment: Moment, name: str, pumps: list[Pump]) -> Iterator[Condition]:
    """What levels of a bottle say of its pumps; which of several it is, they cannot."""
    found = drift_of(moment.state, name)
    if found is None or not found.is_found:
        return
    is_far = found.is_beyond(stops_beyond(moment.machine, name))
    cause = Cause.PUMP_FAR_OFF if is_far else Cause.PUMP_DRIFTS
    figures: dict[str, Figure] = {
        "pumps": ", ".join(found.pumps),
        "used_over_believed": round(found.ratio, 2),
    }
    told = replace(of_pumps(moment, (cause, name), pumps), figures=figures)
    yield told if is_far else replace(told, stops=frozenset())


def _tasks(moment: Moment) -> Iterator[Condition]:
    overdue: dict[str, list[str]] = {}
    for name, task in sorted(moment.state.tasks.items()):
        tank = moment.machine.tanks.get(task.tank)
        if tank is None:
            continue
        today = moment.now.utc.astimezone(ZoneInfo(tank.zone)).date()
        if task.due_on < today:
            overdue.setdefault(task.tank, []).append(name)
    for about, names in overdue.items():
        yield Condition(
            cause=Cause.TASK_OVERDUE,
            about=about,
            tanks=(about,),
            figures={"tasks": len(names), "first": names[0]},
        )


def _day(when: datetime) -> str:
    return f"{when:%Y-%m-%d %H:%M} UTC"
