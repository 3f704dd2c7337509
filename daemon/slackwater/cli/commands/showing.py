"""`status`: how things stand, on one screen.

Floor 8. One subject: the page of a status. Laws here: it leads with the state and its
reason and fits 24 lines of 80; it reads the ledger and nothing else, and writes
nothing.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

from slackwater.cli.amounts import effect_decimal, effect_words
from slackwater.cli.document import Answer, reason_document, reason_text
from slackwater.cli.opening import (
    Approved,
    Opened,
    approval_at,
    daemon_is_here,
    newest_approval,
    opened,
)
from slackwater.cli.outlook import Outlook, Present, outlook
from slackwater.cli.readiness import missing, shadow_ms
from slackwater.cli.render import hours, local, local_time, span
from slackwater.cli.shell import Shell, verb
from slackwater.cli.tasks import Due, open_tasks
from slackwater.errors import Finding
from slackwater.facts.fold import fold_all
from slackwater.facts.state import State
from slackwater.gate.moment import ALKALINITY
from slackwater.ledger.codec import timestamp
from slackwater.ledger.store import LedgerFile
from slackwater.planning.timetable import Timetable
from slackwater.service.memory import SHADOW_NAME
from slackwater.water.show import show_level, show_volume

WIDTH = 79
SHOWN_HOLDS = 2
# More tanks than this and each gets one line.
TANKS_IN_FULL = 2
TANKS_IN_SHORT = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Everything a status tells."""

    found: Opened
    approved: Approved | None
    is_here: bool
    missing: tuple[Finding, ...] = ()
    shadow: timedelta = timedelta()
    outlooks: Mapping[str, Outlook] = field(default_factory=dict)
    due: tuple[Due, ...] = ()

    @property
    def state(self) -> State:
        """The folded ledger."""
        return self.found.state

    @property
    def word(self) -> tuple[str, str]:
        """The state in one word, and why."""
        if not self.is_here:
            return "STOPPED", "No daemon runs on this ledger; nothing is dosed."
        if self.approved is None:
            return "NO PLAN", _no_plan(self.state)
        if self.found.now.utc >= self.approved.approval.expires_at:
            return "EXPIRED", "The approval has expired; a person must approve again."
        if self.state.holds:
            first = self.state.holds[min(self.state.holds)]
            return "HELD", reason_text(first.reason)
        if self.state.stage == "shadow":
            return "SHADOW", "Everything is computed and no pump is commanded."
        return "LIVE", "Pumps are commanded by the approved plan."


@verb("status")
def status(shell: Shell) -> Answer:
    """Say how things stand, on one screen.

    Leads with the state and its reason. With --json all of it in one document.
    """
    with opened(shell.state) as found:
        stood = _standing(found, shell.state)
    return Answer(fields=_fields(stood), text="\n".join(_lines(stood)))


def _standing(found: Opened, state_dir: Path) -> Standing:
    approved = approval_at(found.state, found.now.utc) or newest_approval(found.state)
    here = daemon_is_here(state_dir)
    is_here = found.state.running if here is None else here
    in_shadow = found.state.stage == "shadow"
    return Standing(
        found=found,
        approved=approved,
        is_here=is_here,
        missing=tuple(missing(found.state, found.stamp, state_dir))
        if in_shadow
        else (),
        shadow=timedelta(milliseconds=shadow_ms(found.state, found.stamp, state_dir)),
        outlooks={} if approved is None else _outlooks(found, approved, state_dir),
        due=tuple(
            open_tasks(
                found.state,
                found.now.utc,
                None if approved is None else approved.machine,
            )
        ),
    )


def _outlooks(found: Opened, approved: Approved, state_dir: Path) -> dict[str, Outlook]:
    lived = found.state
    if found.state.stage == "shadow":
        lived = _imagined(state_dir / SHADOW_NAME)
    present = Present(
        state=found.state,
        lived=lived,
        timetable=Timetable(approved.plan, approved.machine),
        utc=max(found.now.utc, approved.approval.takes_over_at),
        proven_ms=found.proven_ms,
    )
    return {tank: outlook(present, tank) for tank in sorted(approved.machine.tanks)}


def _imagined(path: Path) -> State:
    """The doses of the shadow run, from its own ledger; none before the first one."""
    if not path.exists():
        return State()
    with closing(LedgerFile.open(path, "shadow", writable=False)) as ledger:
        return fold_all(State(), (entry.event for entry in ledger.load().entries))


def _no_plan(state: State) -> str:
    if not state.approvals:
        return "No plan is approved: `slackwater approve`."
    return "The approved plan has not taken over yet."


def _lines(stood: Standing) -> Iterator[str]:
    word, why = stood.word
    yield _cut(f"{word}  {why}")
    overdue = [due for due in stood.due if due.is_overdue]
    yield from _holds(stood, SHOWN_HOLDS - bool(overdue))
    if overdue:
        yield _cut(_overdue(overdue))
    if stood.approved is not None:
        yield _cut(_plan_line(stood, stood.approved))
    if stood.state.stage == "shadow":
        yield _cut(_stage_line(stood))
    in_full = len(stood.outlooks) <= TANKS_IN_FULL
    shown = list(stood.outlooks.values())
    if in_full:
        for each in shown:
            yield from ("", *(_cut(line) for line in _tank(stood, each)))
        return
    yield ""
    yield from (_cut(_in_short(each)) for each in shown[:TANKS_IN_SHORT])
    if len(shown) > TANKS_IN_SHORT:
        yield f"and {len(shown) - TANKS_IN_SHORT} more tanks: --json shows all"


def _cut(line: str) -> str:
    return line if len(line) <= WIDTH else f"{line[: WIDTH - 1]}…"


def _overdue(overdue: Sequence[Due]) -> str:
    first, others = overdue[0], len(overdue) - 1
    more = f"; {others} more: `slackwater tasks`" if others else ""
    count = f"{abs(first.days)} d overdue"
    # What is long is cut in the middle, so that the hint at its end stays.
    room = WIDTH - len(f"Task  {first.task.task} ({count}): {more}")
    text = first.task.text
    words = text if len(text) <= room else f"{text[: room - 1]}…"
    return f"Task  {first.task.task} ({count}): {words}{more}"


def _holds(stood: Standing, most: int) -> Iterator[str]:
    holds = sorted(stood.state.holds.items())
    for name, raised in holds[:most]:
        note = f' "{raised.note}"' if raised.note else ""
        yield _cut(f"Hold  {name} ({raised.scope}){note}: {raised.reason.text}")
    if len(holds) > most:
        yield f"      and {len(holds) - most} more: --json lists them"


def _plan_line(stood: Standing, approved: Approved) -> str:
    approval, utc = approved.approval, stood.found.now.utc
    if approval.takes_over_at > utc:
        when = f"takes over in {span(approval.takes_over_at - utc)}"
    else:
        when = f"good for {span(approval.expires_at - utc)}"
    return (
        f'Plan  "{approved.plan.name}", approval {approval.serial} '
        f"({approval.digest[:8]}) by {approval.by}, {when}"
    )


def _stage_line(stood: Standing) -> str:
    names = ", ".join(dict.fromkeys(one.where for one in stood.missing))
    rest = f"missing before enabling: {names}" if names else "may be enabled"
    return f"Stage shadow for {span(stood.shadow)}; {rest}"


def _tank(stood: Standing, each: Outlook) -> Iterator[str]:
    guard = stood.approved and stood.approved.machine.guards.get(each.tank.id)
    yield f"{each.tank.id}  {each.tank.name}"
    yield f"  Alkalinity   {_level(stood, each)}"
    if guard:
        floor, ceiling = (
            show_level(ALKALINITY, value) for value in (guard.floor, guard.ceiling)
        )
        down, up = hours(each.hours_to_floor), hours(each.hours_to_ceiling)
        yield f"  Floor        {down} to {floor} if dosing stopped"
        yield f"  Ceiling      {up} to {ceiling} if uptake stopped"
    yield f"  Last 24 h    {_given(stood, each)}"
    yield f"  Reservoir    {_reservoir(each)}"
    yield f"  Next dose    {_next(stood, each)}"


def _level(stood: Standing, each: Outlook) -> str:
    if each.level is None:
        return "unknown: no reading and no target"
    shown = show_level(ALKALINITY, each.level)
    if each.reading is None:
        return f"not measured here; figures below start from the target {shown}"
    age = stood.found.now.utc - each.reading.taken_at
    return f"{shown}, {span(age)} old ({each.reading.probe})"


def _given(stood: Standing, each: Outlook) -> str:
    given, planned, short = (
        effect_words(ALKALINITY, amount, each.tank)
        for amount in (each.given, each.planned, each.short)
    )
    would = "would have given" if stood.state.stage == "shadow" else "given"
    return f"{would} {given} of {planned} planned, short by {short}"


def _reservoir(each: Outlook) -> str:
    bottle = each.smallest
    if bottle is None or bottle.days is None:
        return "nothing is drawn"
    left = show_volume(bottle.left_ul)
    return f"{bottle.id} lasts {bottle.days:.0f} days ({left} left)"


def _next(stood: Standing, each: Outlook) -> str:
    dose = each.following
    if dose is None:
        return "none"
    ahead = span(dose.due_at - stood.found.now.utc)
    at = local(dose.due_at, each.tank.zone)
    return f"{dose.line} {show_volume(dose.volume_ul)} at {at}, in {ahead}"


def _in_short(each: Outlook) -> str:
    level = (
        "target" if each.reading is None else show_level(ALKALINITY, each.level or 0)
    )
    dose = each.following
    at = "none" if dose is None else local_time(dose.due_at, each.tank.zone)
    short = effect_words(ALKALINITY, each.short, each.tank)
    return (
        f"{each.tank.id}: {level}, floor {hours(each.hours_to_floor)}, ceiling "
        f"{hours(each.hours_to_ceiling)}, short {short}, next {at}"
    )


def _fields(stood: Standing) -> dict[str, object]:
    word, why = stood.word
    approval = stood.approved.approval if stood.approved else None
    return {
        "at": timestamp(stood.found.now.utc),
        "state": word.lower().replace(" ", "-"),
        "why": why,
        "stage": stood.state.stage,
        "daemon_is_here": stood.is_here,
        "shadow_s": int(stood.shadow.total_seconds()),
        "missing": [f"{one.where}: {one.what}" for one in stood.missing],
        "approval": None
        if approval is None
        else {
            "serial": approval.serial,
            "digest": approval.digest,
            "by": approval.by,
            "takes_over_at": timestamp(approval.takes_over_at),
            "expires_at": timestamp(approval.expires_at),
        },
        "holds": [
            {
                "hold": name,
                "scope": raised.scope,
                "latched": raised.latched,
                "note": raised.note,
                "reasons": [reason_document(raised.reason)],
            }
            for name, raised in sorted(stood.state.holds.items())
        ],
        "overdue_tasks": [due.document for due in stood.due if due.is_overdue],
        "tanks": [_tank_document(each) for each in stood.outlooks.values()],
    }


def _tank_document(each: Outlook) -> dict[str, object]:
    reading, bottle, dose = each.reading, each.smallest, each.following
    given, planned, short = (
        effect_decimal(ALKALINITY, amount, each.tank)
        for amount in (each.given, each.planned, each.short)
    )
    return {
        "tank": each.tank.id,
        "alkalinity": None
        if reading is None
        else {
            "meq_per_l": str(reading.value),
            "probe": reading.probe,
            "taken_at": timestamp(reading.taken_at),
        },
        "hours_to_floor": each.hours_to_floor,
        "hours_to_ceiling": each.hours_to_ceiling,
        "given": given,
        "planned": planned,
        "short": short,
        "unit": "dKH",
        "reservoir": None
        if bottle is None
        else {"id": bottle.id, "left_ul": bottle.left_ul, "days": bottle.days},
        "next": None
        if dose is None
        else {
            "dose": dose.id,
            "due": timestamp(dose.due_at),
            "volume_ul": dose.volume_ul,
        },
    }
