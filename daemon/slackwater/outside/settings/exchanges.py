"""Two pumps as one exchange, and the exchanges of a plan.

Floor 6. One subject: `[exchange.ID]` of the machine file and `[[exchange]]` of the plan
file. Laws here: both pumps of a pair serve one tank and nothing but the pair; an
exchange of the plan becomes two lines that agree in everything; what cannot be kept in
balance is refused before anything runs.
"""

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Annotated

from pydantic import Field

from slackwater.facts.exchanges import IN, OUT, Exchange
from slackwater.facts.plan import PlanLine, Weekday
from slackwater.facts.tank import Machine
from slackwater.outside.settings.machine_model import PumpTable
from slackwater.outside.settings.offered import Offered
from slackwater.outside.settings.plan_model import (
    LONGEST_CYCLE_DAYS,
    Day,
    WindowText,
)
from slackwater.outside.settings.quantities import Duration, Id, PlainText, Volume
from slackwater.outside.settings.tables import Findings, TableModel, listed, suggestion

Words = tuple[str, str, str, str]
_KEYS = ("drain", "fill")


class PairTable(TableModel):
    """Two pumps that change water by turns: one drains the tank, one fills it."""

    tank: Id = Field(description="Tank whose water is changed", examples=['"reef"'])
    drain: Id = Field(
        description="Pump that drains; its reservoir is the room for waste water",
        examples=['"water-out"'],
    )
    fill: Id = Field(
        description="Pump that fills; its reservoir is the new water",
        examples=['"water-in"'],
    )
    settle: Annotated[float, Duration("10 s", "10 min")] = Field(
        default=60.0,
        description="How long the water comes to rest after the last drop out",
        examples=['"1 min"'],
    )


class ExchangeTable(TableModel):
    """Water out and as much new water in, in small portions by turns."""

    id: Annotated[Id, Field(max_length=28)] = Field(
        description="Name of the exchange; its two lines are named after it, with -out "
        "and -in behind",
        examples=['"daily-change"'],
    )
    pair: Id = Field(
        description="Pair of pumps, an [exchange.ID] of slackwater.toml",
        examples=['"water"'],
    )
    per_day: Annotated[int, Volume("10 mL", "20 L")] = Field(
        description="Water to exchange on each day of it", examples=['"3 L"']
    )
    portion: Annotated[int, Volume("10 mL", "1 L")] = Field(
        description="Most that leaves the tank before as much comes in; at most a "
        "thousandth of the net water",
        examples=['"150 mL"'],
    )
    window: WindowText = Field(
        description="Stretch of the local day; not over midnight",
        examples=['"10:00-18:00"'],
    )
    every_days: int | None = Field(
        default=None,
        ge=1,
        le=LONGEST_CYCLE_DAYS,
        description="Every so many days, counted from starts; 1 when left out",
        examples=["2"],
    )
    weekdays: list[Weekday] | None = Field(
        default=None,
        min_length=1,
        description="On these weekdays, instead of every_days",
        examples=['["mon", "thu"]'],
    )
    first: Day | None = Field(
        default=None,
        description="First day; the plan's start when left out",
        examples=["2026-05-10"],
    )
    last: Day | None = Field(
        default=None, description="Last day, if there is one", examples=["2026-09-30"]
    )
    note: PlainText = Field(
        default="", description="A sentence for the reader", examples=['"one in 100"']
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What stands around the pairs.

    `names` are the ids of all pumps of the file, `tanks` those of all tanks; None where
    they are not all known.
    """

    machine: Machine
    pumps: Mapping[str, PumpTable]
    relays: Collection[str]
    names: Collection[str] | None
    tanks: Collection[str] | None


def exchanges_from(
    tables: Mapping[str, PairTable], around: Around, findings: Findings
) -> dict[str, Exchange]:
    """The pairs that can be read, with everything wrong noted."""
    judge = findings.judge
    named = [partial(getattr, one, key) for one in tables.values() for key in _KEYS]
    used = Counter(map(judge, named))
    found = {}
    for identity, table in tables.items():
        reader = _PairReader(id=identity, table=table, around=around, findings=findings)
        for key in _KEYS:
            judge(partial(reader.check, key, used))
        pair = judge(reader.pair)
        if pair is not None:
            found[identity] = pair
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _PairReader:
    id: str
    table: PairTable
    around: Around
    findings: Findings

    def pair(self) -> Exchange:
        """The pair; only good when nothing was noted."""
        table = self.table
        return Exchange(
            id=self.id,
            tank=table.tank,
            drain=table.drain,
            fill=table.fill,
            settle_s=table.settle,
        )

    def check(self, key: str, used: Mapping[str | None, int]) -> None:
        """Note what is wrong with the pump of one key."""
        name, names = getattr(self.table, key), self.around.names
        if names is not None and name not in names:
            self._note(
                key,
                f'there is no pump "{name}"',
                f"one of {listed(sorted(names))}",
                f"{suggestion(name, names)}Name a pump of this file.",
            )
            return
        if used[name] > 1:
            self._note(
                key,
                f"the pump {name} is named twice in exchanges",
                "two pumps for each exchange, and none in two of them",
                "Give it a pump of its own.",
            )
        pump = self.around.pumps.get(name)
        for check in (self._tank, self._solution, self._node, self._container):
            if pump is not None:
                self.findings.judge(partial(check, key, name, pump))

    def _note(self, key: str, what: str, expected: str, advice: str) -> None:
        self.findings.add(f"[exchange.{self.id}] {key}", what, expected, advice)

    def _tank(self, key: str, name: str, pump: PumpTable) -> None:
        tanks = self.around.tanks or ()
        if pump.tank != self.table.tank and {pump.tank, self.table.tank} <= {*tanks}:
            self._note(
                key,
                f"the pump {name} serves {pump.tank}",
                f"a pump of {self.table.tank}",
                "Mend the tank or the pump.",
            )

    def _solution(self, key: str, name: str, pump: PumpTable) -> None:
        machine = self.around.machine
        moved = machine.solutions.get(pump.solution)
        if moved is not None and (moved.effects or machine.apart.get(moved.id)):
            self._note(
                key,
                f"the pump {name} moves {moved.id}, which is dosed or kept apart",
                "a solution with no_effects = true and fully_declared = true",
                "Describe the water so; what it does is known from its tests.",
            )

    def _node(self, key: str, name: str, pump: PumpTable) -> None:
        if pump.node in self.around.relays:
            self._note(
                key,
                f"the pump {name} is behind a plain relay",
                "a pump whose node reports what flowed",
                "Drive it by a pump node: nobody would see what was drained.",
            )

    def _container(self, key: str, name: str, pump: PumpTable) -> None:
        judge = self.findings.judge
        others = [
            other
            for other, table in self.around.pumps.items()
            if other != name
            and judge(partial(getattr, table, "reservoir")) == pump.reservoir
        ]
        if others:
            self._note(
                key,
                f"its container {pump.reservoir} serves {listed(others)} as well",
                "a container of its own",
                "Add a reservoir, or the level could not be believed.",
            )


def exchange_lines(
    place: str, table: ExchangeTable, offered: Offered, findings: Findings
) -> list[PlanLine]:
    """The two lines of an exchange, drain first; none with something wrong noted."""
    before = findings.count
    for check in _EXCHANGE_CHECKS:
        words = findings.judge(partial(check, table, offered))
        if words is not None:
            key, *told = words
            findings.add(f"{place} {key}", *told)
    if findings.count > before:
        return []
    return findings.judge(partial(_lines, table, offered)) or []


def exchange_ids(table: ExchangeTable, offered: Offered) -> list[tuple[str, str]]:
    """Tank and id of both lines of an exchange; empty where its pair is not known."""
    pair = (offered.pairs or {}).get(table.pair)
    return [] if pair is None else [(pair.tank, table.id + end) for end in (OUT, IN)]


def _lines(table: ExchangeTable, offered: Offered) -> list[PlanLine]:
    pair, pumps = (offered.pairs or {}).get(table.pair), offered.pumps or {}
    if pair is None or not {pair.drain, pair.fill} <= pumps.keys():
        return []
    line = PlanLine(
        id=table.id + OUT,
        tank=pair.tank,
        solution=pumps[pair.drain].solution,
        pump=pair.drain,
        per_day_ul=table.per_day,
        count=-(-table.per_day // table.portion),
        windows=table.window,
        every_days=table.every_days or 1,
        weekdays=tuple(table.weekdays or ()),
        first_day=table.first,
        last_day=table.last,
        note=table.note,
    )
    new = pumps[pair.fill].solution
    return [line, replace(line, id=table.id + IN, solution=new, pump=pair.fill)]


def _pair_fault(table: ExchangeTable, offered: Offered) -> Words | None:
    if offered.pairs is None or table.pair in offered.pairs:
        return None
    known = sorted(offered.pairs)
    near = suggestion(table.pair, known)
    return (
        "pair",
        f'there is no pair "{table.pair}" in slackwater.toml',
        f"one of {listed(known)}",
        f"{near}Add [exchange.{table.pair}] with its two pumps.",
    )


def _window_fault(table: ExchangeTable, _offered: Offered) -> Words | None:
    if len(table.window) == 1:
        return None
    return (
        "window",
        "the window goes over midnight",
        "one stretch of one day",
        'Write it like  window = "10:00-18:00".',
    )


def _days_fault(table: ExchangeTable, _offered: Offered) -> Words | None:
    if table.weekdays is None or table.every_days is None:
        return None
    return (
        "weekdays",
        "weekdays and every_days are both given",
        "either weekdays or every_days",
        "Remove one of the two.",
    )


def _end_fault(table: ExchangeTable, _offered: Offered) -> Words | None:
    if not (table.first and table.last and table.last < table.first):
        return None
    return (
        "last",
        f"the last day {table.last} is before the first, {table.first}",
        "a last day on or after the first",
        "Mend one of the two dates.",
    )


_EXCHANGE_CHECKS = (_pair_fault, _window_fault, _days_fault, _end_fault)
