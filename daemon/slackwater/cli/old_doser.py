"""An old doser beside ours: its lines, compared with what ours give.

Floor 8. One subject: lines that one or the other gives. Laws here: a line has one
giver; figures of ours are what was given, or would have been, in the last 24 hours.
"""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from slackwater.cli.amounts import effect_decimal, effect_words
from slackwater.cli.opening import Approved, Opened
from slackwater.facts.doses import DoseIntended
from slackwater.facts.plan import PlanLine
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Outside
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries
from slackwater.service.memory import SHADOW_NAME
from slackwater.water.show import show_volume

ONE_DAY = timedelta(days=1)
OLD_DOSER = "the old doser"
NOBODY = "nobody"


@dataclass(frozen=True, slots=True, kw_only=True)
class OldLine:
    """One line that an old doser gives, gave, or is to give no more.

    Units: `given_ul` microlitres of the last 24 hours by our pump, imagined in shadow.
    """

    name: str
    line: PlanLine
    sources: tuple[Outside, ...]
    given_by: str
    given_ul: int
    machine: Machine

    @property
    def old_ul(self) -> int:
        """What the old doser gives a day, 0 where nobody said."""
        return max(source.volume_ul for source in self.sources)

    @property
    def effects(self) -> list[tuple[str, int, int, int]]:
        """By parameter: the old doser's day, the plan's, and that of the last 24 h."""
        solution = self.machine.solutions[self.line.solution].effects
        return [
            (
                source.parameter,
                source.per_day,
                solution.get(source.parameter, 0) * self.line.per_day_ul,
                solution.get(source.parameter, 0) * self.given_ul,
            )
            for source in self.sources
        ]


def old_names(approved: Approved) -> list[str]:
    """Lines of the plan that an outside source names, `TANK/LINE`, in order."""
    named = {source.replaced_by for source in approved.machine.outside}
    return sorted(named & approved.plan.names)


def old_lines(found: Opened, approved: Approved, state_dir: Path) -> list[OldLine]:
    """Every line that an old doser gives or gave, in order of name."""
    given = _given_ul(found, state_dir)
    by_name = {f"{line.tank}/{line.id}": line for line in approved.plan.lines}
    return [
        OldLine(
            name=name,
            line=by_name[name],
            sources=tuple(
                one for one in approved.machine.outside if one.replaced_by == name
            ),
            given_by=giver(found.state, name),
            given_ul=given.get(name, 0),
            machine=approved.machine,
        )
        for name in old_names(approved)
    ]


def still_old(state: State, approved: Approved | None) -> list[str]:
    """Lines of the plan that an old doser still gives, in shadow as well."""
    named = [] if approved is None else old_names(approved)
    return [name for name in named if giver(state, name) == OLD_DOSER]


def given_by_nobody(state: State, approved: Approved | None) -> list[str]:
    """Lines of the plan that were ours, and are imagined as long as pumps rest."""
    named = [] if approved is None else old_names(approved)
    return [name for name in named if giver(state, name) == NOBODY]


def left_to_old(
    state: State, machine: Machine, before: Approved | None
) -> frozenset[str]:
    """Lines that an old doser would still give were this machine approved now."""
    named = {source.replaced_by for source in machine.outside} - {""}
    if state.stage != "live":
        return frozenset(named - set(state.taken_over))
    known = {one.replaced_by for one in before.machine.outside} if before else set()
    # What only the new file names is left to the old doser by its approval.
    return frozenset(named & set(state.left_to_old) | named - known)


def giver(state: State, name: str) -> str:
    """Who gives a line now."""
    if state.stage == "live":
        return OLD_DOSER if name in state.left_to_old else "us"
    return NOBODY if name in state.taken_over else OLD_DOSER


def _given_ul(found: Opened, state_dir: Path) -> dict[str, int]:
    """What each line was given in 24 hours; in shadow what it would have been."""
    if found.state.stage == "live":
        return _sums(found, found.ledger)
    path = state_dir / SHADOW_NAME
    if not path.exists():
        return {}
    with closing(LedgerFile.open(path, "shadow", writable=False)) as ledger:
        return _sums(found, ledger)


def _sums(found: Opened, ledger: LedgerFile) -> dict[str, int]:
    wanted = Wanted(kinds=("dose_intended",), since=found.now.utc - ONE_DAY)
    sums: dict[str, int] = {}
    for entry in entries(ledger, wanted):
        event = entry.event
        if isinstance(event, DoseIntended) and event.dose_kind == "plan":
            name = f"{event.dose.tank}/{event.dose.line}"
            sums[name] = sums.get(name, 0) + event.command.ul
    return sums


def old_rows(lines: list[OldLine]) -> Iterator[tuple[str, ...]]:
    """Three amounts a day for a table: of each line, then of what it adds."""
    for one in lines:
        tank = one.machine.tanks[one.line.tank]
        yield (
            one.name,
            show_volume(one.old_ul) if one.old_ul else "not said",
            show_volume(one.line.per_day_ul),
            show_volume(one.given_ul),
        )
        for parameter, *amounts in one.effects:
            yield (
                f"  adds {parameter}",
                *(effect_words(parameter, n, tank) for n in amounts),
            )


def giver_lines(lines: list[OldLine]) -> Iterator[str]:
    """Who gives each line now, and how ours comes to give it."""
    for one in lines:
        words = f"{one.name} is given by {one.given_by}"
        if one.given_by == OLD_DOSER:
            words += f" until `slackwater take-over {one.name}`"
        yield f"{words}."


def old_document(one: OldLine) -> dict[str, object]:
    """One line for tools; effects as decimals in the display unit."""
    tank = one.machine.tanks[one.line.tank]
    return {
        "line": one.name,
        "given_by": one.given_by,
        "old_ul": one.old_ul,
        "planned_ul": one.line.per_day_ul,
        "given_in_24_h_ul": one.given_ul,
        "effects": {
            parameter: {
                "old": effect_decimal(parameter, old, tank),
                "planned": effect_decimal(parameter, planned, tank),
                "given_in_24_h": effect_decimal(parameter, given, tank),
            }
            for parameter, old, planned, given in one.effects
        },
    }
