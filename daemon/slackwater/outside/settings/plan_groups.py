"""Lines of a plan that share a group, and ids that stand twice.

Floor 6. One subject: what lines say about each other. Laws here: a group is judged by
the lines as they stand in the file, whatever else is wrong with them; a line that may
be meant for another group makes none look wrong.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from math import lcm
from operator import attrgetter

from slackwater.facts.plan import Group
from slackwater.outside.settings.documents import Table
from slackwater.outside.settings.offered import Offered
from slackwater.outside.settings.partial import is_whole, readable
from slackwater.outside.settings.plan_lines import ReadLine
from slackwater.outside.settings.plan_model import GroupTable
from slackwater.outside.settings.tables import (
    Findings,
    listed,
    named_tables,
    suggestion,
)
from slackwater.water.show import show_volume

_IDENTITY = attrgetter("tank", "id")


def check_identities(lines: Sequence[ReadLine], findings: Findings) -> None:
    """Note each line whose id another line of its tank has."""
    named = [findings.judge(partial(_IDENTITY, one.table)) for one in lines]
    counted = Counter(named)
    for one, identity in zip(lines, named, strict=True):
        if identity is not None and counted[identity] > 1:
            findings.add(
                f"{one.place} id",
                f'the id "{identity[1]}" stands on {counted[identity]} lines',
                "one line for each id",
                "Remove the line that is there twice, or give it its own id.",
            )


def check_doubled(
    lines: Sequence[ReadLine],
    exchanged: Sequence[tuple[str, str]],
    findings: Findings,
) -> None:
    """Note what an exchange is called that is the name of another line as well."""
    named = {findings.judge(partial(_IDENTITY, one.table)) for one in lines}
    counted = Counter(exchanged)
    for identity in sorted(counted):
        if counted[identity] > 1 or identity in named:
            findings.add(
                "[[exchange]]",
                f'the id "{identity[1]}" stands on two lines',
                "one line for each id",
                "Give one of them another id.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupReader:
    """Reads the groups of a plan; `lines` are all tables of its lines."""

    document: Table
    lines: Sequence[ReadLine]
    offered: Offered
    findings: Findings

    def groups(self) -> dict[str, Group]:
        """The groups that nothing is wrong with, everything wrong noted."""
        raw = named_tables(self.document, "group", self.findings)
        for one in self.lines if self._are_known(raw) else ():
            self.findings.judge(partial(self._check_named, one, raw))
        found = {}
        for identity, item in raw.items():
            before = self.findings.count
            place = f"[group.{identity}]"
            table = readable(GroupTable, item, place, self.findings)
            ratio = self.findings.judge(partial(attrgetter("ratio"), table))
            if table is None or ratio is None:
                continue
            group = _group(identity, ratio)
            self._check_group(group, _named(item), raw)
            if self.findings.count == before and is_whole(table):
                found[identity] = group
        return found

    def _group_of(self, one: ReadLine) -> str | None:
        return self.findings.judge(partial(attrgetter("group"), one.table))

    def _are_known(self, raw: Table) -> bool:
        """Whether every group of the file has an id that can be used."""
        stated = self.document.get("group", {})
        return isinstance(stated, dict) and stated.keys() == raw.keys()

    def _check_named(self, one: ReadLine, raw: Table) -> None:
        group = one.table.group
        if group is not None and group not in raw:
            self.findings.add(
                f"{one.place} group",
                f'there is no group "{group}"',
                f"one of {listed(raw)}",
                f"{suggestion(group, raw)}Add [group.{group}] with its ratio.",
            )

    def _check_group(self, group: Group, named: set[str], raw: Table) -> None:
        place = f"[group.{group.id}] ratio"
        own = [one for one in self.lines if self._group_of(one) == group.id]
        tanks = {self.findings.judge(partial(self._tank, one)) for one in own}
        if len(tanks - {None}) > 1:
            self.findings.add(
                place,
                "the lines belong to different tanks",
                "lines of one tank",
                "Make a group for each tank.",
            )
            return
        ids = [self._id_of(one) for one in own]
        members = {name for name in ids if name is not None}
        is_pair = named == members and len(members) > 1
        if self._is_sure(ids, raw) and not is_pair:
            self.findings.add(
                place,
                f"the ratio names {listed(sorted(named))} and the lines with this "
                f"group are {listed(sorted(members))}",
                "at least two lines, the same in both",
                f'Write  group = "{group.id}"  on each line that the ratio names.',
            )
            return
        self._check_amounts(place, group, self._amounts(own, ids))

    def _amounts(
        self, own: Sequence[ReadLine], ids: Sequence[str | None]
    ) -> dict[str, int]:
        """What each line gives a day, by its id, where both are known."""
        return {
            name: one.per_day_ul
            for name, one in zip(ids, own, strict=True)
            if name is not None and one.per_day_ul is not None and ids.count(name) == 1
        }

    def _id_of(self, one: ReadLine) -> str | None:
        return self.findings.judge(partial(attrgetter("id"), one.table))

    def _is_sure(self, ids: Sequence[str | None], raw: Table) -> bool:
        """Whether it is known which lines belong to a group.

        Not where a line is no table, a group or an id was refused, a line names a
        group that is not there, or an id stands twice.
        """
        stated = self.document.get("line", [])
        groups = [self.findings.judge(partial(_named_group, one)) for one in self.lines]
        return (
            isinstance(stated, list)
            and len(stated) == len(self.lines)
            and all(group is not None for group in groups)
            and all(not group or group in raw for group in groups)
            and None not in ids
            and len(set(ids)) == len(ids)
        )

    def _tank(self, one: ReadLine) -> str | None:
        """The tank of a line where it is one; a slip belongs to no other tank."""
        known = self.offered.tanks
        return one.table.tank if known is None or one.table.tank in known else None

    def _check_amounts(self, place: str, group: Group, told: Mapping[str, int]) -> None:
        amounts = {name: ul for name, ul in told.items() if name in group.ratio}
        if not amounts:
            return
        first = min(amounts)
        base_ul, base_share = amounts[first], group.ratio[first]
        for name, per_day_ul in amounts.items():
            share = group.ratio[name]
            # One microlitre of rounding on either side is not another ratio.
            if abs(per_day_ul * base_share - base_ul * share) > base_share + share:
                self.findings.add(
                    place,
                    f"{name} gets {show_volume(per_day_ul)} a day and {first} "
                    f"{show_volume(base_ul)}",
                    f"amounts as {share} to {base_share}, as the ratio says",
                    "Mend the amounts or the ratio.",
                )


def _named_group(one: ReadLine) -> str:
    return one.table.group or ""


def _named(raw: object) -> set[str]:
    """The lines that a ratio names, those with a share that was refused as well."""
    ratio = raw.get("ratio") if isinstance(raw, dict) else None
    return set(ratio) if isinstance(ratio, dict) else set()


def _group(identity: str, shares: Mapping[str, Fraction]) -> Group:
    whole = lcm(*(share.denominator for share in shares.values()))
    return Group(
        id=identity,
        ratio={line: int(shares[line] * whole) for line in sorted(shares)},
    )
