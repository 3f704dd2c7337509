"""Doses of a rehearsal in few bytes, for the way from one process to another.

Floor 6. One subject: columns in the place of records. Laws here: what is read back is
equal to what was written down.

A record of its own takes some 450 bytes a dose, and about 12 µs there and back; on the
tape some 120 bytes and 5 µs (measured with CPython 3.11).
"""

from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from slackwater.facts.making import maker
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Reason
from slackwater.planning.wall import EPOCH
from slackwater.rehearsal.record import RehearsedDose

INSTANT = timedelta(microseconds=1)
# Begun when it was due, as most are, and never: no dose is laid out so long ago.
AS_DUE, NEVER = -1, -2

_due_dose = maker(DueDose)
_rehearsed = maker(RehearsedDose)


@dataclass(frozen=True, slots=True, kw_only=True)
class Like:
    """What a dose shares with many others: `asked_ul` of the plan, and what became."""

    line: str
    tank: str
    pump: str
    asked_ul: int
    solution: str
    verdict: str
    volume_ul: int
    reasons: tuple[Reason, ...]
    effects: Mapping[str, int]
    run_ms: int


# By what likes are told apart: reasons and effects by which record they are, 0 for
# none. A like keeps both, so that no other record can take their place.
Key = tuple[str, str, str, int, str, str, int, int, int, int]


def _column(kind: str) -> "array[int]":
    return array(kind)


@dataclass(slots=True, kw_only=True)
class Tape:
    """Doses one after the other; moments in microseconds since 1970."""

    likes: list[Like] = field(default_factory=list)
    known: dict[Key, int] = field(default_factory=dict)
    ids: list[str] = field(default_factory=list)
    like: "array[int]" = field(default_factory=lambda: _column("q"))
    day: "array[int]" = field(default_factory=lambda: _column("l"))
    ordinal: "array[int]" = field(default_factory=lambda: _column("l"))
    due: "array[int]" = field(default_factory=lambda: _column("q"))
    latest: "array[int]" = field(default_factory=lambda: _column("q"))
    begun: "array[int]" = field(default_factory=lambda: _column("q"))

    def append(self, each: RehearsedDose) -> None:
        """Write one down."""
        dose, begun_at = each.dose, each.begun_at
        self.ids.append(dose.id)
        self.like.append(self._like(each))
        self.day.append(dose.local_day.toordinal())
        self.ordinal.append(dose.ordinal)
        due = _count(dose.due_at)
        self.due.append(due)
        self.latest.append(_count(dose.latest_at))
        begun = NEVER if begun_at is None else _count(begun_at)
        self.begun.append(AS_DUE if begun == due else begun)

    def _like(self, each: RehearsedDose) -> int:
        dose = each.dose
        asked = dose.line, dose.tank, dose.pump, dose.volume_ul, each.solution
        became = each.verdict, each.volume_ul, each.run_ms
        reasons = id(each.reasons) if each.reasons else 0
        effects = id(each.effects) if each.effects else 0
        key: Key = (*asked, *became, reasons, effects)
        place = self.known.get(key)
        if place is None:
            place = self.known[key] = len(self.likes)
            self.likes.append(
                Like(
                    line=dose.line,
                    tank=dose.tank,
                    pump=dose.pump,
                    asked_ul=dose.volume_ul,
                    solution=each.solution,
                    verdict=each.verdict,
                    volume_ul=each.volume_ul,
                    reasons=each.reasons,
                    effects=each.effects,
                    run_ms=each.run_ms,
                )
            )
        return place

    def __iter__(self) -> Iterator[RehearsedDose]:
        """Read them back in the order in which they were written."""
        days: dict[int, date] = {}
        for ident, like, number, ordinal, due, latest, begun in zip(
            self.ids,
            self.like,
            self.day,
            self.ordinal,
            self.due,
            self.latest,
            self.begun,
            strict=True,
        ):
            day = days.get(number) or days.setdefault(number, date.fromordinal(number))
            dose = _dose(self.likes[like], (ident, day, ordinal), (due, latest))
            yield _became(self.likes[like], dose, begun)


def _count(moment: datetime) -> int:
    """Microseconds since 1970, exactly."""
    return (moment - EPOCH) // INSTANT


def _moment(count: int) -> datetime:
    return EPOCH + timedelta(0, 0, count)


def _dose(like: Like, name: tuple[str, date, int], span: tuple[int, int]) -> DueDose:
    """The dose as the plan asks for it."""
    ident, day, ordinal = name
    due, latest = span
    return _due_dose(
        id=ident,
        line=like.line,
        tank=like.tank,
        pump=like.pump,
        local_day=day,
        ordinal=ordinal,
        due_at=_moment(due),
        latest_at=_moment(latest),
        volume_ul=like.asked_ul,
    )


def _became(like: Like, dose: DueDose, begun: int) -> RehearsedDose:
    begun_at: datetime | None = dose.due_at
    if begun != AS_DUE:
        begun_at = None if begun == NEVER else _moment(begun)
    return _rehearsed(
        dose=dose,
        solution=like.solution,
        verdict=like.verdict,
        volume_ul=like.volume_ul,
        reasons=like.reasons,
        effects=like.effects,
        run_ms=like.run_ms,
        begun_at=begun_at,
    )
