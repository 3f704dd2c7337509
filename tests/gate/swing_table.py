"""The labelled set scored: the judge, plain rules and an oracle in one table.

A row is a share of series (or of days) in which a rule did what the row asks for.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from tests.gate.swing_rivals import RIVALS, Rule
from tests.gate.swing_runs import Said, said
from tests.gate.swing_series import (
    Make,
    Source,
    added,
    announced,
    drifting,
    dying,
    frozen,
    labelled,
    misdosed,
    noted,
    serviced,
    steady,
    swing,
    unannounced,
)
from tests.gate.swing_tanks import DAY_MIN, HOUR_MIN, Series, lead_days

JUDGE = "judge"
QUIET = frozenset({"steady", "too-little"})
# A swing of this size has a goal; a smaller one is only counted.
LARGE_DKH = 0.8
WITHIN_MIN = 120.0
WITHIN_READINGS = 4
# A fault has this long to be named: a day, or so many readings of a slow source.
FAULT_READINGS = 36
# A single dose of this size can be told from noise.
LARGE_DOSE_DKH = 0.5
JITTER, HAND_JITTER = 1.05, 1.1


@dataclass(slots=True)
class Cell:
    """How often something was done, of how many times."""

    done: int = 0
    of: int = 0

    @property
    def percent(self) -> float:
        """The share, in percent; 0 of nothing is 0."""
        return 100.0 * self.done / self.of if self.of else 0.0

    def count(self, times: float, of: int = 1) -> None:
        """One more case."""
        self.done += int(times)
        self.of += of


@dataclass(slots=True)
class Table:
    """Cells by row and rule; rules that cannot say a thing have no cell there.

    `rivals` are the rules that are scored beside the judge.
    """

    rivals: Mapping[str, Rule] = field(default_factory=dict)
    rows: dict[str, dict[str, Cell]] = field(default_factory=dict)
    missed: list[str] = field(default_factory=list)

    def cell(self, row: str, rule: str = JUDGE) -> Cell:
        """The cell, made when it is first asked for."""
        return self.rows.setdefault(row, {}).setdefault(rule, Cell())

    def lines(self) -> Iterator[str]:
        """The table as text."""
        rules = (JUDGE, *self.rivals)
        yield f"{'':58s}{'n':>7s}" + "".join(f"{rule:>11s}" for rule in rules)
        for row, cells in self.rows.items():
            told = [
                f"{cells[rule].percent:10.2f}%" if rule in cells else f"{'-':>11s}"
                for rule in rules
            ]
            yield f"{row:58s}{cells[JUDGE].of:7d}" + "".join(told)


@dataclass(frozen=True, slots=True)
class Part:
    """So many series of a kind, from one source."""

    kind: Make
    source: Source
    seeds: range


def scored(parts: Iterable[Part], rivals: Mapping[str, Rule] = RIVALS) -> Table:
    """Every part run and counted, by the judge and by its rivals."""
    table = Table(rivals=rivals)
    for part in parts:
        count = COUNTS[part.kind]
        for seed in part.seeds:
            series = labelled(part.kind, seed, part.source)
            name = f"{part.kind.__name__} {seed} {part.source}"
            count(table, series, name)
    return table


def source_of(series: Series) -> str:
    """What a series comes from, in words."""
    if series.period_min >= DAY_MIN:
        return "a hand test a day"
    if series.period_min < HOUR_MIN:
        return "5-min probes"
    return "hourly titrators" if series.period_min == HOUR_MIN else "2-6 h titrators"


def _steady(table: Table, series: Series, name: str) -> None:
    """Days with a verdict, or a stop, that nothing calls for."""
    since = (lead_days(series.period_min) - 2) * DAY_MIN
    days = int(series.readings[-1][0] // DAY_MIN) - since // DAY_MIN + 1
    row = f"false verdicts, clean days, {source_of(series)}"
    wrong = [one for one in said(series, since) if one.name not in QUIET]
    table.cell(row).count(len({one.minute // DAY_MIN for one in wrong}), days)
    table.missed += [f"{row}: {name} {one}" for one in wrong[:1]]
    for rule, stops in table.rivals.items():
        found = {minute // DAY_MIN for minute in stops(series, since, float("inf"))}
        table.cell(row, rule).count(len(found), days)


def _swing(table: Table, series: Series, name: str) -> None:
    """Held, or told, soon after it passed half a dKH."""
    truth, source = series.truth, source_of(series)
    slow = series.period_min >= HOUR_MIN
    limit, within = limit_of(series)
    until = truth.crossed + within
    size = ">= 0.8" if truth.size >= LARGE_DKH else "0.5-0.8"
    is_up = truth.label == "swing-up"
    way = "up" if is_up else "down"
    narrow = slow and truth.above_min < min(
        WITHIN_READINGS * series.period_min, 2 * DAY_MIN
    )
    row = f"{way} {size} dKH {limit}, {source}{', narrow V' if narrow else ''}"
    found = said(series, truth.begins - DAY_MIN / 2, until)
    hit = any(is_right(one, is_up=is_up, since=truth.begins) for one in found)
    table.cell(row).count(hit)
    if not hit:
        table.missed.append(f"{row}: {name}")
    if is_up:
        for rule, stops in table.rivals.items():
            times = stops(series, truth.begins, until)
            table.cell(row, rule).count(bool(times))


def limit_of(series: Series) -> tuple[str, float]:
    """How soon a swing must be told, in words and in minutes."""
    if series.period_min >= DAY_MIN:
        # The tests of two days, with those that a keeper makes again at once.
        return "within 2 days", 2 * DAY_MIN * HAND_JITTER + WITHIN_MIN
    if series.period_min >= HOUR_MIN:
        readings = WITHIN_READINGS * series.period_min * JITTER
        return f"within {WITHIN_READINGS} readings", readings
    return "within 2 h", WITHIN_MIN


def is_right(one: Said, *, is_up: bool, since: float) -> bool:
    """Whether a verdict calls a swing by its way; a dose may be named for it."""
    return (
        one.minute >= since
        and one.name in ("swing-up", "swing-down", "dose-fault")
        and one.excess == is_up
    )


def _announced(table: Table, series: Series, name: str) -> None:
    """A hold that something told of does not call for."""
    truth, source = series.truth, source_of(series)
    row = f"holds after {truth.shape}s told of, {source}"
    since = truth.begins - DAY_MIN / 2
    held = [one for one in said(series, since) if one.excess]
    table.cell(row).count(bool(held))
    table.missed += [f"{row}: {name} {one}" for one in held[:1]]
    for rule, stops in table.rivals.items():
        table.cell(row, rule).count(bool(stops(series, since, float("inf"))))


def _fault(table: Table, series: Series, name: str) -> None:
    """Named as a fault of the probe."""
    truth, source = series.truth, source_of(series)
    slow = series.period_min >= HOUR_MIN
    lasts = FAULT_READINGS * series.period_min if slow else DAY_MIN
    row = f"{truth.shape} probe named, {source}"
    found = said(series, truth.begins, truth.begins + lasts)
    hit = any(one.name == "probe-fault" for one in found)
    table.cell(row).count(hit)
    if not hit:
        table.missed.append(f"{row}: {name}")


def _dose(table: Table, series: Series, name: str) -> None:
    """A large dose gone astray is named; a small one is not called a swing."""
    truth, source = series.truth, source_of(series)
    slow = series.period_min >= HOUR_MIN
    lasts = FAULT_READINGS * series.period_min if slow else DAY_MIN
    found = said(series, truth.begins - DAY_MIN / 2, truth.begins + lasts)
    if truth.size >= LARGE_DOSE_DKH:
        row = f"dose >= 0.5 dKH {truth.shape}, named or a swing, {source}"
        is_up = truth.shape == "doubled"
        hit = any(is_right(one, is_up=is_up, since=truth.begins) for one in found)
        table.cell(row).count(hit)
        row = f"dose >= 0.5 dKH {truth.shape}, named, {source}"
        table.cell(row).count(any(one.name == "dose-fault" for one in found))
        return
    row = f"dose <= 0.3 dKH astray called more, {source}"
    wrong = [one for one in found if one.name not in QUIET]
    table.cell(row).count(bool(wrong))
    table.missed += [f"{row}: {name} {one}" for one in wrong[:1]]


COUNTS: Mapping[Make, Callable[[Table, Series, str], None]] = {
    steady: _steady,
    drifting: _steady,
    swing: _swing,
    unannounced: _swing,
    announced: _announced,
    added: _announced,
    serviced: _announced,
    noted: _announced,
    frozen: _fault,
    dying: _fault,
    misdosed: _dose,
}

# The whole set: how many of each kind from probes, titrators and hand tests.
WHOLE: Mapping[Make, tuple[int, int, int]] = {
    steady: (200, 200, 100),
    drifting: (50, 50, 0),
    swing: (500, 500, 200),
    unannounced: (100, 100, 0),
    announced: (100, 100, 50),
    added: (50, 50, 0),
    serviced: (50, 50, 0),
    noted: (50, 50, 0),
    frozen: (75, 75, 0),
    dying: (75, 75, 0),
    misdosed: (100, 100, 0),
}
SOURCES: tuple[Source, ...] = ("probe", "titrator", "hand")


def parts_of(share: float) -> Sequence[Part]:
    """That share of the whole set, at least one series of each kind that is in it."""
    return [
        Part(kind=kind, source=source, seeds=range(max(round(count * share), 1)))
        for kind, counts in WHOLE.items()
        for source, count in zip(SOURCES, counts, strict=True)
        if count
    ]
