"""Turns `plan.toml` into a Plan, checked against the machine.

Floor 6. One subject: the plan file as a whole. Laws here: every error of the file
comes out at once; a plan never brings a limit with it; lines keep the order of the
file.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from operator import attrgetter
from pathlib import Path

from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Group, Plan, PlanLine
from slackwater.facts.tank import Machine
from slackwater.outside.settings.documents import PLAN_FILE, Table, read_document
from slackwater.outside.settings.exchanges import (
    ExchangeTable,
    exchange_ids,
    exchange_lines,
)
from slackwater.outside.settings.offered import Offered, offered_by
from slackwater.outside.settings.partial import readable
from slackwater.outside.settings.plan_groups import (
    GroupReader,
    check_doubled,
    check_identities,
)
from slackwater.outside.settings.plan_lines import LineReader, ReadLine, place_of
from slackwater.outside.settings.plan_model import LineTable, PlanHead
from slackwater.outside.settings.tables import Findings, shown

_PARTS = ("line", "group", "exchange")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDraft:
    """What could be read of a plan file, and everything that is wrong with it.

    `plan` holds the lines and groups that nothing is wrong with; None without a day to
    start.
    """

    plan: Plan | None
    findings: tuple[Finding, ...]


def read_plan(directory: Path, machine: Machine) -> Plan:
    """The plan of a configuration directory.

    Raises: InputError with everything that is wrong in the file.
    """
    draft = draft_plan(directory, offered_by(machine))
    if draft.findings or draft.plan is None:
        raise InputError(draft.findings)
    return draft.plan


def draft_plan(directory: Path, offered: Offered) -> PlanDraft:
    """The plan of a configuration directory as far as it can be read."""
    try:
        document = read_document(directory, PLAN_FILE)
    except InputError as error:
        return PlanDraft(plan=None, findings=error.findings)
    findings = Findings(PLAN_FILE)
    head = _head(document, findings)
    starts = findings.judge(partial(attrgetter("starts"), head))
    reader = LineReader(offered=offered, starts=starts, findings=findings)
    read = [reader.read(*one) for one in _line_tables(document, findings)]
    check_identities(read, findings)
    groups = GroupReader(
        document=document, lines=read, offered=offered, findings=findings
    ).groups()
    lines = [one.line for one in read if one.line is not None]
    lines += _exchanged(document, offered, read, findings)
    return PlanDraft(
        plan=findings.judge(partial(_plan, head, lines, groups, findings)),
        findings=findings.all,
    )


def part_of(plan: Plan, lines: Sequence[PlanLine]) -> Plan:
    """The plan with these of its lines; one whose group lacks another stands alone."""
    members: dict[str, set[str]] = {name: set() for name in plan.groups}
    for line in lines:
        members.setdefault(line.group, set()).add(line.id)
    whole = {
        name: one
        for name, one in plan.groups.items()
        if one.ratio.keys() == members[name]
    }
    kept = (line if line.group in whole else replace(line, group="") for line in lines)
    return replace(plan, lines=tuple(kept), groups=whole)


def _plan(
    head: PlanHead | None,
    lines: Sequence[PlanLine],
    groups: dict[str, Group],
    findings: Findings,
) -> Plan | None:
    if head is None:
        return None
    # What a plan is called decides nothing in it.
    name = findings.judge(partial(attrgetter("name"), head)) or ""
    plan = Plan(name=name, starts=head.starts, lines=tuple(lines), groups=groups)
    # Nobody knows which of two lines of one id is meant.
    counted = Counter((line.tank, line.id) for line in lines)
    return part_of(plan, [one for one in lines if counted[one.tank, one.id] == 1])


def _head(document: Table, findings: Findings) -> PlanHead | None:
    own = {key: value for key, value in document.items() if key not in _PARTS}
    return readable(PlanHead, own, "", findings, also=_PARTS)


def _line_tables(document: Table, findings: Findings) -> list[tuple[str, LineTable]]:
    raw = document.get("line", [])
    if "line" not in document and document.get("exchange"):
        return []
    if not isinstance(raw, list) or not raw:
        findings.add(
            "[[line]]",
            f"found {shown(raw)}" if "line" in document else "there is no dose line",
            "at least one table headed [[line]]",
            "Begin each dose line with [[line]] in double brackets.",
        )
        return []
    found = []
    for number, item in enumerate(raw, start=1):
        place = place_of(number, item)
        table = readable(LineTable, item, place, findings)
        if table is not None:
            found.append((place, table))
    return found


def _exchanged(
    document: Table, offered: Offered, read: Sequence[ReadLine], findings: Findings
) -> list[PlanLine]:
    raw = document.get("exchange", [])
    if not isinstance(raw, list):
        findings.add(
            "[[exchange]]",
            f"found {shown(raw)}",
            "tables headed [[exchange]]",
            "Begin each exchange with [[exchange]] in double brackets.",
        )
        return []
    found: list[PlanLine] = []
    named: list[tuple[str, str]] = []
    for number, item in enumerate(raw, start=1):
        place = f"[[exchange]] {number}"
        table = readable(ExchangeTable, item, place, findings)
        if table is not None:
            found += exchange_lines(place, table, offered, findings)
            named += findings.judge(partial(exchange_ids, table, offered)) or []
    check_doubled(read, named, findings)
    return found
