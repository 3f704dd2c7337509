"""The page of a status.

Floor 8. One subject: what stands on one screen. Laws here: it leads with the state and
its reason; nothing is cut off, a long line goes on in the next; what finds no room is
counted and told where it is; it fits a screen of 24 lines with a line to type in.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo

from slackwater.alarms.words import headline
from slackwater.cli.amounts import effect_words
from slackwater.cli.aside import aside_lines
from slackwater.cli.asked_by_hand import asked_lines
from slackwater.cli.cap_names import lowered_words
from slackwater.cli.entered_text import entered_lines
from slackwater.cli.exchange_text import exchange_lines
from slackwater.cli.opening import Approved
from slackwater.cli.outlook import Outlook
from slackwater.cli.readiness import in_short, verbs
from slackwater.cli.relay_text import relay_lines
from slackwater.cli.render import hours, local, local_time, span
from slackwater.cli.standing import Standing
from slackwater.cli.tasks import Due
from slackwater.cli.width import SCREEN, fitted
from slackwater.cli.wording import reason_words
from slackwater.facts.events import DoseMissed, HoldRaised
from slackwater.planning.daily import ALKALINITY
from slackwater.water.show import show_count, show_level, show_volume

ROWS = 23
SHOWN_HOLDS = 2
# More tanks than this and each gets one line.
TANKS_IN_FULL = 2
TANKS_IN_SHORT = 12
# A day and a month say which day it is only within a year.
FAR_DAYS = 300.0
# A level that moved by less than this, meq/L, is told as it was read.
SAID_FROM = 0.05


def status_page(stood: Standing, columns: int | None) -> str:
    """As much as one screen holds; without a terminal, one of 80 columns."""
    page = ""
    for holds, tanks in _layouts(stood):
        text = "\n".join(_lines(stood, holds, tanks))
        # Most terminals begin a new line when the last column is written to.
        page = fitted(text, (columns or SCREEN) - 1)
        if page.count("\n") < ROWS:
            return page
    return page


def _layouts(stood: Standing) -> Iterator[tuple[int, int]]:
    """How many holds and how many tanks in short (0: all in full), the most first."""
    counts = range(min(TANKS_IN_SHORT, max(len(stood.outlooks), 1)), 0, -1)
    full = [0] if len(stood.outlooks) <= TANKS_IN_FULL else []
    for tanks in (*full, *counts):
        for holds in range(SHOWN_HOLDS, 0, -1):
            yield holds, tanks


def _lines(stood: Standing, holds: int, tanks: int) -> Iterator[str]:
    word, why = stood.word
    yield f"{word}  {why}"
    yield from _holds(stood, holds)
    yield from _alarms(stood)
    yield from aside_lines(stood.state, stood.found.now.utc, stood.zone)
    yield from _waiting(stood)
    yield from asked_lines(stood.state, stood.found.now.utc, stood.zone)
    yield from entered_lines(stood.state)
    overdue = [due for due in stood.due if due.is_overdue]
    if overdue:
        yield _overdue(overdue)
    if stood.approved is not None:
        yield _plan_line(stood, stood.approved)
        yield from relay_lines(stood.approved.machine, stood.state)
        yield from exchange_lines(stood.approved.machine, stood.state)
    if stood.state.lowered:
        yield _caps_line(stood)
    if stood.state.stage == "shadow":
        yield _stage_line(stood)
    yield from _halves(stood)
    if stood.old:
        yield f"Old    an old doser still gives {', '.join(stood.old)}"
    yield from _audit(stood)
    if stood.first_aid:
        yield f"First aid: slackwater first-aid {stood.first_aid}"
    shown = list(stood.outlooks.values())
    if not tanks:
        for each in shown:
            yield from ("", *_tank(stood, each))
        return
    yield ""
    yield from (_in_short(stood, each) for each in shown[:tanks])
    if len(shown) > tanks:
        yield f"and {len(shown) - tanks} more: --json shows all"


def _audit(stood: Standing) -> Iterator[str]:
    """What the newest kept audit says; nothing where none was made."""
    audit = stood.state.audited
    if audit is not None:
        at = local(audit.at, stood.zone)
        yield (
            f"Audit  {at}: {audit.given} of {show_count(audit.doses, 'dose')}, "
            f"{audit.missing} missing for a reason, "
            f"{show_count(audit.faults, 'fault')}"
        )


def _holds(stood: Standing, most: int) -> Iterator[str]:
    leads = stood.word[0] == "HELD"
    for raised in stood.holds[:most]:
        told = leads and raised is stood.holds[0]
        yield _hold(raised, "" if told else f": {reason_words(raised.reason)}")
    if len(stood.holds) > most:
        yield f"       and {len(stood.holds) - most} more: --json lists them"
    if stood.holds and stood.refused:
        first = stood.refused[0]
        why = reason_words(first.of_gate[0], first.tank)
        rest = len(stood.refused) - 1
        more = f" And {rest} more: `slackwater why`." if rest else ""
        yield f"Held   {first.pump}: {why}{more}"


def _hold(raised: HoldRaised, why: str) -> str:
    note = f' "{raised.note}"' if raised.note else ""
    return f"Hold   {raised.hold_id} ({raised.scope}){note}{why}"


def _alarms(stood: Standing) -> Iterator[str]:
    """The most pressing, and how many more there are."""
    if stood.alarms:
        raised, others = stood.alarms[0].raised, len(stood.alarms) - 1
        more = f" And {others} more: `slackwater alarms`." if others else ""
        yield f"Alarm  {raised.priority}: {headline(raised)}{more}"


def _waiting(stood: Standing) -> Iterator[str]:
    """The dose that waits, and why; with a hold everybody knows why.

    The reasons are those of its first refusal: how long ago that was stands with them.
    """
    if not stood.waiting or stood.state.holds:
        return
    first, others = stood.waiting[0], len(stood.waiting) - 1
    more = f" And {others} more." if others else ""
    outlook = stood.outlooks.get(first.dose_id.partition("/")[0])
    tank = None if outlook is None else outlook.tank
    why = " ".join(reason_words(reason, tank) for reason in first.reasons)
    ago = span(stood.found.now.utc - first.at)
    yield f"Waits  {first.dose_id}: {why} Told {ago} ago.{more}"


def _overdue(overdue: Sequence[Due]) -> str:
    first, others = overdue[0], len(overdue) - 1
    more = f"; {others} more: `slackwater tasks`" if others else ""
    count = f"{abs(first.days)} d overdue"
    return f"Task   {first.task.task} ({count}): {first.task.text}{more}"


def _plan_line(stood: Standing, approved: Approved) -> str:
    approval, utc = approved.approval, stood.found.now.utc
    if approval.takes_over_at > utc:
        when = f"takes over in {span(approval.takes_over_at - utc)}"
    elif approval.expires_at > utc:
        when = f"good for {span(approval.expires_at - utc)}"
    elif approval.ends_at > utc:
        left = span(approval.ends_at - utc)
        when = f"expired; upkeep goes on for {left}, then nothing"
    else:
        when = "expired: nothing is dosed"
    return (
        f'Plan   "{approved.plan.name}", approval {approval.serial} '
        f"({approval.digest[:8]}) by {approval.by}, {when}"
    )


def _caps_line(stood: Standing) -> str:
    words = lowered_words(stood.state.lowered)
    return f"Caps   lower in the file than approved, and counting: {words}"


def _halves(stood: Standing) -> Iterator[str]:
    """What is halved, and for how long yet."""
    for scope, (left, why) in stood.halves.items():
        yield f"Half   {scope} for {span(left)} more: {why}"


def _stage_line(stood: Standing) -> str:
    """What is missing before pumps may run, with the verbs that give it."""
    places: dict[str, list[str]] = {}
    for one in stood.missing:
        # Pumps that want the same stand together.
        pump = one.where.removeprefix("pump ")
        verb = verbs(one).replace(f"calibrate {pump}", "calibrate PUMP")
        places.setdefault(verb, []).append(in_short(one))
    told = ", ".join(
        f"{', '.join(dict.fromkeys(names))} (`{verb.replace(', then ', '`, then `')}`)"
        for verb, names in places.items()
    )
    rest = "pumps may be enabled: `slackwater enable`"
    if told:
        rest = f"missing before pumps may run: {told}"
    return f"Stage  shadow for {span(stood.shadow)}; {rest}"


def _tank(stood: Standing, each: Outlook) -> Iterator[str]:
    guard = stood.approved and stood.approved.machine.guards.get(each.tank.id)
    name = each.tank.name
    yield each.tank.id if name == each.tank.id else f"{each.tank.id}  {name}"
    yield f"  Alkalinity   {_level(stood, each)}"
    if guard:
        floor, ceiling = (
            show_level(ALKALINITY, value) for value in (guard.floor, guard.ceiling)
        )
        used = "uptake as stated" if each.used == "stated" else "uptake as the plan"
        then = f"if dosing stopped ({used})"
        yield f"  Floor        {_way(each.hours_to_floor, floor, then)}"
        then = "if uptake stopped"
        yield f"  Ceiling      {_way(each.hours_to_ceiling, ceiling, then)}"
    yield f"  Last 24 h    {_given(stood, each)}"
    missed = stood.missed.get(each.tank.id)
    if missed:
        yield f"  Missed       {_missed(missed)}"
    yield f"  Reservoir    {_reservoir(stood, each)}"
    yield f"  Next due     {_next(stood, each)}"


def _way(left: float | None, limit: str, then: str) -> str:
    """How long it is to a limit, in words where nothing is left of the way."""
    return f"{limit} is passed" if left == 0 else f"{hours(left)} to {limit} {then}"


def _level(stood: Standing, each: Outlook) -> str:
    if each.level is None:
        return "unknown: no reading and no target"
    shown = show_level(ALKALINITY, each.level)
    if each.reading is None:
        return f"not measured here; figures below start from the target {shown}"
    age = stood.found.now.utc - each.reading.taken_at
    told = f"{shown}, {span(age)} old ({each.reading.probe or 'by hand'})"
    if each.level_now is None:
        return f"{told}, too old to reckon from: test again"
    now = show_level(ALKALINITY, each.level_now)
    if abs(each.level_now - each.level) >= SAID_FROM:
        told += f"; about {now} by now"
    if each.higher is not None:
        higher = show_level(ALKALINITY, each.higher.value)
        told += f"; a stop goes by the {higher} of the same half hour"
    return told


def _given(stood: Standing, each: Outlook) -> str:
    given, planned, short = (
        effect_words(ALKALINITY, amount, each.tank)
        for amount in (each.given, each.planned, each.short)
    )
    would = "would have given" if stood.state.stage == "shadow" else "given"
    less = f", short by {short}" if each.short else ""
    return f"alkalinity: {would} {given} of {planned} planned{less}"


def _missed(missed: Sequence[DoseMissed]) -> str:
    """How many, and the newest with why; they are never made up."""
    newest = missed[0]
    doses = show_count(len(missed), "dose")
    why = " ".join(reason.text for reason in newest.reasons)
    which = "" if len(missed) == 1 else ", the newest"
    return f"{doses} in 24 h{which} of {newest.dose.line}: {why}"


def _reservoir(stood: Standing, each: Outlook) -> str:
    bottle = each.smallest
    if bottle is None or bottle.days is None:
        return "nothing is drawn"
    left = show_volume(bottle.left_ul)
    told = f"{bottle.id} lasts {bottle.days:.0f} days ({left} left)"
    low, high = bottle.days_low, bottle.days_high
    if low is None or high is None or high > FAR_DAYS:
        return told
    zone, now = ZoneInfo(each.tank.zone), stood.found.now.utc
    first, last = (
        (now + timedelta(days=days)).astimezone(zone) for days in (low, high)
    )
    return f"{told}, {first.day} {first:%b} to {last.day} {last:%b}"


def _next(stood: Standing, each: Outlook) -> str:
    dose = each.following
    if dose is None:
        old = [name for name in stood.old if name.startswith(f"{each.tank.id}/")]
        return f"none of ours: the old doser gives {', '.join(old)}" if old else "none"
    kept, what = stood.kept_of(each), f"{dose.line} {show_volume(dose.volume_ul)}"
    if kept is not None:
        why = kept.reasons[0].text.removesuffix(".")
        return f"{what} is held ({why}), {kept.when}"
    ahead = span(dose.due_at - stood.found.now.utc)
    return f"{what} at {local(dose.due_at, each.tank.zone)}, in {ahead}"


def _in_short(stood: Standing, each: Outlook) -> str:
    level = (
        "target" if each.reading is None else show_level(ALKALINITY, each.level or 0)
    )
    dose = each.following
    at = "none" if dose is None else local_time(dose.due_at, each.tank.zone)
    at = "held" if stood.kept_of(each) else at
    short = effect_words(ALKALINITY, each.short, each.tank)
    missed = len(stood.missed.get(each.tank.id, ()))
    return (
        f"{each.tank.id}: {level}, floor {hours(each.hours_to_floor)}, ceiling "
        f"{hours(each.hours_to_ceiling)}, short {short}, "
        f"{f'{missed} missed, ' if missed else ''}next {at}"
    )
