"""Turns `plan.toml` into a Plan, checked against the machine.

Floor 6. One subject: the plan file as a whole. Laws here: every error of the file
comes out at once; a plan never brings a limit with it; lines keep the order of the
file.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from math import lcm
from pathlib import Path

from slackwater.facts.plan import Group, Plan, PlanLine
from slackwater.facts.tank import Machine
from slackwater.outside.settings.documents import PLAN_FILE, Table, read_document
from slackwater.outside.settings.exchanges import (
    ExchangeTable,
    doubled,
    exchange_lines,
)
from slackwater.outside.settings.plan_lines import LineReader, place_of
from slackwater.outside.settings.plan_model import GroupTable, LineTable, PlanHead
from slackwater.outside.settings.tables import (
    Findings,
    checked,
    listed,
    named_tables,
    shown,
    suggestion,
)
from slackwater.water.show import show_volume

_PARTS = ("line", "group", "exchange")


def read_plan(directory: Path, machine: Machine) -> Plan:
    """The plan of a configuration directory.

    Raises: InputError with everything that is wrong in the file.
    """
    document = read_document(directory, PLAN_FILE)
    findings = Findings(PLAN_FILE)
    head = _head(document, findings)
    tables = _line_tables(document, findings)
    reader = LineReader(machine=machine, head=head, findings=findings)
    lines = [
        line
        for place, table in tables
        if (line := reader.line(place, table)) is not None
    ]
    _check_identities(tables, findings)
    groups = _groups(document, tables, lines, findings)
    lines += _exchanged(document, machine, findings)
    _check_doubled(lines, findings)
    head = findings.settled(head)
    return Plan(name=head.name, starts=head.starts, lines=tuple(lines), groups=groups)


def _head(document: Table, findings: Findings) -> PlanHead | None:
    own = {key: value for key, value in document.items() if key not in _PARTS}
    return checked(PlanHead, own, "", findings, also=_PARTS)


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
        table = checked(LineTable, item, place, findings)
        if table is not None:
            found.append((place, table))
    return found


def _exchanged(document: Table, machine: Machine, findings: Findings) -> list[PlanLine]:
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
    for number, item in enumerate(raw, start=1):
        place = f"[[exchange]] {number}"
        table = checked(ExchangeTable, item, place, findings)
        if table is not None:
            found += exchange_lines(place, table, machine, findings)
    return found


def _check_doubled(lines: Sequence[PlanLine], findings: Findings) -> None:
    """What an exchange is called must not be the name of a line as well."""
    for identity in doubled(lines) if not findings.count else ():
        findings.add(
            "[[exchange]]",
            f'the id "{identity}" stands on two lines',
            "one line for each id",
            "Give one of them another id.",
        )


def _check_identities(
    tables: Sequence[tuple[str, LineTable]], findings: Findings
) -> None:
    counted = Counter((table.tank, table.id) for _, table in tables)
    for place, table in tables:
        if counted[table.tank, table.id] > 1:
            findings.add(
                f"{place} id",
                f'the id "{table.id}" stands on {counted[table.tank, table.id]} lines',
                "one line for each id",
                "Remove the line that is there twice, or give it its own id.",
            )


def _groups(
    document: Table,
    tables: Sequence[tuple[str, LineTable]],
    lines: Sequence[PlanLine],
    findings: Findings,
) -> dict[str, Group]:
    raw = named_tables(document, "group", findings)
    for place, line in tables:
        if line.group is not None and line.group not in raw:
            findings.add(
                f"{place} group",
                f'there is no group "{line.group}"',
                f"one of {listed(raw)}",
                f"{suggestion(line.group, raw)}"
                f"Add [group.{line.group}] with its ratio.",
            )
    groups = {}
    for identity, item in raw.items():
        table = checked(GroupTable, item, f"[group.{identity}]", findings)
        if table is not None:
            groups[identity] = _group(identity, table)
    for group in groups.values():
        # A line that was refused already must not make its group look wrong as well.
        if not _refused_of(group, document, lines):
            _check_group(group, lines, findings)
    return groups


def _refused_of(group: Group, document: Table, lines: Sequence[PlanLine]) -> bool:
    """Whether a line that names the group, or that it names, did not come through."""
    raw = document.get("line", [])
    # What stands in the place of an id may be a list: it is compared, never looked up.
    named = tuple(group.ratio)
    stated = [
        one
        for one in (raw if isinstance(raw, list) else [])
        if isinstance(one, dict)
        and (one.get("group") == group.id or one.get("id") in named)
    ]
    read = [one for one in lines if one.group == group.id or one.id in group.ratio]
    return len(stated) != len(read)


def _group(identity: str, table: GroupTable) -> Group:
    shares = table.ratio
    whole = lcm(*(share.denominator for share in shares.values()))
    return Group(
        id=identity,
        ratio={line: int(shares[line] * whole) for line in sorted(shares)},
    )


def _check_group(group: Group, lines: Sequence[PlanLine], findings: Findings) -> None:
    place = f"[group.{group.id}] ratio"
    own = [line for line in lines if line.group == group.id]
    if len({line.tank for line in own}) > 1:
        findings.add(
            place,
            "the lines belong to different tanks",
            "lines of one tank",
            "Make a group for each tank.",
        )
        return
    members = {line.id: line for line in own}
    if set(group.ratio) != set(members) or len(members) < 2:  # noqa: PLR2004 - a pair
        findings.add(
            place,
            f"the ratio names {listed(group.ratio)} and the lines with this group are "
            f"{listed(sorted(members))}",
            "at least two lines, the same in both",
            f'Write  group = "{group.id}"  on each line that the ratio names.',
        )
        return
    _check_amounts(place, group, members, findings)


def _check_amounts(
    place: str, group: Group, members: Mapping[str, PlanLine], findings: Findings
) -> None:
    first = min(members)
    base_ul, base_share = members[first].per_day_ul, group.ratio[first]
    for name, line in members.items():
        share = group.ratio[name]
        # One microlitre of rounding on either side is not another ratio.
        if abs(line.per_day_ul * base_share - base_ul * share) > base_share + share:
            findings.add(
                place,
                f"{name} gets {show_volume(line.per_day_ul)} a day and {first} "
                f"{show_volume(base_ul)}",
                f"amounts as {share} to {base_share}, as the ratio says",
                "Mend the amounts or the ratio.",
            )
