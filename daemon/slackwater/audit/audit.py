"""The audit: every dose that was given or missed beside every dose that was approved.

Floor 3. One subject: the comparison. Laws here: it reads entries and approved texts and
nothing else, and shares no code with what decides; extra, altered and duplicate are
faults of the program whatever their number; a dose that is missing has a reason from
the closed list or is a finding; nothing that is missing is made up.
Units: volumes in microlitres; times aware UTC.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from slackwater.audit.devices import wrong_devices
from slackwater.audit.expected import Due, asked, named
from slackwater.audit.given import Given, Rows, repeated, rows_of
from slackwater.audit.history import History, history_of
from slackwater.audit.intents import Departure, Wrong, departures
from slackwater.audit.reasons import Missing, word_for
from slackwater.facts.events import AnyEvent

Entries = Sequence[tuple[int, AnyEvent]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """What is audited: entries with their numbers, in order.

    `rules` holds every approval, withdrawal, change of stage, calibration and request
    there ever was; `live` and `shadow` the dose rows of the two ledgers, from a day
    before the audited time on. `decided_at` is the daemon's newest sign of life: what
    may begin later than that was not decided yet. `promised` is what the rehearsal
    would give of each dose, None where it is not compared.
    """

    rules: Entries
    live: Entries
    shadow: Entries = ()
    decided_at: datetime
    now: datetime
    promised: Mapping[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gone:
    """A dose that was approved and not given, or of which nobody knows."""

    dose: str
    due_at: datetime
    volume_ul: int
    reason: Missing


@dataclass(slots=True, kw_only=True)
class DayTotal:
    """One pump on one local day: approved, asked of the node, believed to have flowed.

    `is_live` False where the doses were imagined in shadow; `rehearsed_ul` None where
    the rehearsal was not compared.
    """

    day: date
    tank: str
    pump: str
    is_live: bool
    doses: int = 0
    given: int = 0
    approved_ul: int = 0
    rehearsed_ul: int | None = None
    asked_ul: int = 0
    believed_ul: int = 0


@dataclass(slots=True, kw_only=True)
class Audit:
    """What came of it; `pending` doses were not decided yet, which is no fault.

    `serials` are the approvals that asked for doses; `in_force` those that were in
    force at any time of it, `awaited` those that had still to take over at its end.
    """

    since: datetime
    until: datetime
    serials: tuple[int, ...] = ()
    in_force: tuple[int, ...] = ()
    awaited: tuple[int, ...] = ()
    departures: list[Departure] = field(default_factory=list)
    missing: list[Gone] = field(default_factory=list)
    pending: int = 0
    by_request: int = 0
    days: dict[tuple[date, str, bool], DayTotal] = field(default_factory=dict)

    def count(self, wrong: Wrong) -> int:
        """How many departures there are of one kind."""
        return sum(one.wrong == wrong for one in self.departures)


def audit(books: Books, since: datetime, until: datetime) -> Audit:
    """Compare everything due or begun from `since` up to before `until`.

    Raises: InputError when an approved text cannot be read.
    """
    history = history_of(books.rules)
    live, shadow = rows_of(books.live), rows_of(books.shadow)
    found = Audit(since=since, until=until)
    for rows, is_live in ((live, True), (shadow, False)):
        twice = repeated(rows)
        for given in rows.given:
            if since <= given.intent.at < until:
                found.departures += _judged(history, (rows, twice), given, is_live)
                found.by_request += given.intent.dose_kind != "plan"
    dues = list(asked(history, since, until))
    found.serials = tuple(sorted({due.serial for due in dues}))
    found.in_force = history.in_force(since, until)
    found.awaited = history.awaited(until)
    for due in dues:
        _seek(found, (history, books), (live, shadow), due)
    found.departures += _beyond(found)
    found.departures.sort(key=lambda one: (one.at, one.dose, one.what))
    found.missing.sort(key=lambda one: (one.due_at, one.dose))
    return found


def _judged(
    history: History,
    known: tuple[Rows, set[int]],
    given: Given,
    is_live: bool,  # noqa: FBT001 -- which of the two ledgers it stands in
) -> Iterator[Departure]:
    rows, twice = known
    intent = given.intent
    if is_live:
        order, fits = given.order, history.is_live(given.order)
    else:
        order, fits = history.order_at(intent.at), not history.was_live(intent.at)
    yield from departures(history, intent, order, fits_stage=fits)
    for what in wrong_devices(history, given, order):
        yield _departure(given, "altered", what)
    if given.order in twice:
        yield _departure(given, "duplicate", "it was begun before")
    if given.handed > 1:
        yield _departure(given, "duplicate", f"its command left {given.handed} times")
    missed = rows.missed.get(intent.dose.id)
    if missed is not None and missed[0] < given.order:
        yield _departure(given, "extra", "it was written off before")


def _departure(given: Given, wrong: Wrong, what: str) -> Departure:
    intent = given.intent
    return Departure(wrong=wrong, dose=intent.dose.id, at=intent.at, what=what)


def _seek(
    found: Audit,
    known: tuple[History, Books],
    ledgers: tuple[Rows, Rows],
    due: Due,
) -> None:
    """What became of a dose that was approved."""
    total, books = _total(found, due), known[1]
    _expect(total, books, due)
    rows = ledgers[0 if due.is_live else 1]
    other = ledgers[1 if due.is_live else 0]
    times = _newest_time((rows, other), due)
    for before in range(1, times):
        # What a clock that was ahead gave was a dose of its own.
        earlier = _given((rows, other), named(due, before))
        if earlier:
            _expect(total, books, due)
            _add_up(total, earlier)
    name = named(due, times)
    given = _given((rows, other), name)
    _add_up(total, given)
    if given:
        word = _word_of(given[0])
    else:
        missed = rows.missed.get(name) or other.missed.get(name)
        word = None if missed is None else word_for(missed[1].reasons)
        word = word or _span_word(rows, due)
        if missed is not None and word is None:
            codes = ", ".join(reason.code for reason in missed[1].reasons)
            found.departures.append(_silent(due, f"missing for {codes or 'no reason'}"))
            return
    if word is not None:
        found.missing.append(_gone(due, word))
    elif not given:
        _unnamed(found, known, due)


def _expect(total: DayTotal, books: Books, due: Due) -> None:
    total.doses += 1
    total.approved_ul += due.place.volume_ul
    if books.promised is not None:
        promised_ul = books.promised.get(due.dose, 0)
        total.rehearsed_ul = (total.rehearsed_ul or 0) + promised_ul


def _given(ledgers: tuple[Rows, Rows], name: str) -> list[Given]:
    return ledgers[0].given_of(name) or ledgers[1].given_of(name)


def _newest_time(ledgers: tuple[Rows, Rows], due: Due) -> int:
    """Which of the times it came is to be accounted for; the others are past."""
    for times in range(due.times, due.times_least, -1):
        name = named(due, times)
        if _given(ledgers, name) or any(name in rows.missed for rows in ledgers):
            return times
    return due.times_least


def _add_up(total: DayTotal, given: Sequence[Given]) -> None:
    for one in given:
        total.asked_ul += one.intent.command.ul
        total.believed_ul += one.believed_ul
    total.given += any(one.voided is None for one in given)


def _word_of(given: Given) -> Missing | None:
    if given.voided is not None:
        return word_for(given.voided) or Missing.UNKNOWN
    return Missing.UNKNOWN if given.is_sealed else None


def _span_word(rows: Rows, due: Due) -> Missing | None:
    """The reason of a long absence that was written down as a whole."""
    for span in rows.spans:
        is_in = span.first_due <= due.place.from_at <= span.last_due
        if is_in and due.dose.startswith(f"{span.tank}/{span.line}@"):
            return word_for(span.reasons)
    return None


def _unnamed(found: Audit, known: tuple[History, Books], due: Due) -> None:
    """A dose that no row names: not decided yet, or it needs a reason of its own."""
    history, books = known
    if due.last_at >= books.now:
        found.pending += 1
    elif history.changed_within(due.place.from_at, due.last_at):
        found.missing.append(_gone(due, Missing.PLAN))
    elif due.last_at >= books.decided_at:
        found.missing.append(_gone(due, Missing.OFF))
    else:
        found.departures.append(_silent(due, "missing without a word"))


def _silent(due: Due, what: str) -> Departure:
    return Departure(
        wrong="unexplained", dose=due.dose, at=due.place.from_at, what=what
    )


def _gone(due: Due, word: Missing) -> Gone:
    return Gone(
        dose=due.dose,
        due_at=due.place.from_at,
        volume_ul=due.place.volume_ul,
        reason=word,
    )


def _total(found: Audit, due: Due) -> DayTotal:
    key = (due.day, due.pump, due.is_live)
    return found.days.setdefault(
        key,
        DayTotal(day=due.day, tank=due.tank, pump=due.pump, is_live=due.is_live),
    )


def _beyond(found: Audit) -> Iterator[Departure]:
    """Pumps believed to have given more in a day than was approved, or rehearsed."""
    for total in found.days.values():
        limits = [(total.approved_ul, "approved")]
        if total.rehearsed_ul is not None:
            limits.append((total.rehearsed_ul, "rehearsed"))
        for limit_ul, word in limits:
            if total.believed_ul > limit_ul:
                yield Departure(
                    wrong="beyond",
                    dose=f"{total.pump} on {total.day}",
                    at=found.since,
                    what=f"{total.believed_ul} uL believed to have flowed, "
                    f"{limit_ul} uL {word}",
                )
