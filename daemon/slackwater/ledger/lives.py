"""The life of each dose, told from its entries.

Floor 6. One subject: entries of one dose → one line, lines of one day → one total.
Laws here: a life only moves on, late copies of an earlier word do not turn it back;
an open intent counts as asked; only `voided` gives a charge back.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    DoseEnded,
    DoseHanded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    RequestTakenBack,
)
from slackwater.facts.reasons import Reason
from slackwater.ports import Entry

Word = Literal[
    "held",
    "missed",
    "taken_back",
    "intended",
    "handed",
    "refused",
    "taken",
    "voided",
    "sealed",
    "ended",
]

# How a life moves on. A node's refusal settles nothing: the same command may have been
# taken by way of another copy.
_STEPS: tuple[tuple[Word, ...], ...] = (
    ("held",),
    ("missed", "taken_back"),
    ("intended",),
    ("handed",),
    ("refused",),
    ("taken",),
    ("voided", "sealed"),
    ("ended",),
)
_RANK = {word: rank for rank, words in enumerate(_STEPS) for word in words}


@dataclass(slots=True, kw_only=True)
class Life:
    """One dose, from its first mention to its last.

    Units: microlitres. `how` says how a run ended or with which word the node
    refused; `reasons` are codes, in the order they came; times are UTC and None when
    that never happened.
    """

    dose: str
    pump: str
    word: Word
    tank: str = ""
    line: str = ""
    local_day: date | None = None
    due_at: datetime | None = None
    dose_kind: str = "plan"
    in_water: bool = True
    planned_ul: int = 0
    asked_ul: int = 0
    charge_ul: int = 0
    believed_ul: int = 0
    how: str = ""
    attempt: str = ""
    intended_at: datetime | None = None
    settled_at: datetime | None = None
    reasons: tuple[str, ...] = ()


@dataclass(slots=True, kw_only=True)
class Total:
    """What one pump gave on one local day of its tank, in microlitres.

    `doses` were charged, `missed` were not given; runs into a cylinder are counted
    apart, as `calibration_ul`.
    """

    local_day: date
    tank: str
    pump: str
    doses: int = 0
    missed: int = 0
    asked_ul: int = 0
    charge_ul: int = 0
    believed_ul: int = 0
    calibration_ul: int = 0


class _Lives:
    """Lives by dose, with the attempts that lead to them."""

    def __init__(self) -> None:
        self.by_dose: dict[str, Life] = {}
        self.by_attempt: dict[str, Life] = {}

    def of(self, dose: str, pump: str, word: Word) -> Life:
        life = self.by_dose.get(dose)
        if life is None:
            life = Life(dose=dose, pump=pump, word=word)
            self.by_dose[dose] = life
        _move_on(life, word)
        return life


def live_through(entries: Iterable[Entry]) -> list[Life]:
    """One life per dose, in order of first mention.

    An entry whose intent lies before the first entry given is passed over.
    """
    lives = _Lives()
    for entry in entries:
        tell = _TELL.get(type(entry.event))
        if tell is not None:
            tell(lives, entry.event)
    return list(lives.by_dose.values())


def totals(lives: Iterable[Life]) -> list[Total]:
    """Sums per local day, tank and pump, sorted; lives without a day are left out."""
    found: dict[tuple[date, str, str], Total] = {}
    for life in lives:
        if life.local_day is None:
            continue
        key = (life.local_day, life.tank, life.pump)
        if key not in found:
            found[key] = Total(local_day=life.local_day, tank=life.tank, pump=life.pump)
        _add(found[key], life)
    return [found[key] for key in sorted(found)]


def _add(total: Total, life: Life) -> None:
    if not life.in_water:
        total.calibration_ul += life.charge_ul
    elif life.word in ("missed", "voided"):
        total.missed += 1
    elif life.word != "held":
        total.doses += 1
        total.asked_ul += life.asked_ul
        total.charge_ul += life.charge_ul
        total.believed_ul += life.believed_ul


def _held(lives: _Lives, event: DoseHeld) -> None:
    life = lives.of(event.dose_id, event.pump, "held")
    _because(life, event.reasons)


def _missed(lives: _Lives, event: DoseMissed) -> None:
    life = lives.of(event.dose.id, event.dose.pump, "missed")
    life.tank, life.line = event.dose.tank, event.dose.line
    life.local_day, life.due_at = event.dose.local_day, event.dose.due_at
    life.planned_ul = life.planned_ul or event.dose.volume_ul
    life.settled_at = life.settled_at or event.at
    _because(life, event.reasons)


def _taken_back(lives: _Lives, event: RequestTakenBack) -> None:
    life = lives.of(event.request, event.pump, "taken_back")
    life.planned_ul = life.planned_ul or event.volume_ul
    life.settled_at = life.settled_at or event.at


def _intended(lives: _Lives, event: DoseIntended) -> None:
    life = lives.of(event.dose.id, event.dose.pump, "intended")
    life.tank, life.line = event.dose.tank, event.dose.line
    life.local_day, life.due_at = event.local_day, event.dose.due_at
    life.dose_kind, life.in_water = event.dose_kind, event.in_water
    life.planned_ul, life.asked_ul = event.planned_ul, event.command.ul
    life.charge_ul = life.believed_ul = event.command.ul
    life.attempt, life.intended_at = event.command.attempt, event.at
    lives.by_attempt[life.attempt] = life
    _because(life, event.reasons)


def _handed(lives: _Lives, event: DoseHanded) -> None:
    _attempted(lives, event.attempt, "handed")


def _taken(lives: _Lives, event: DoseTaken) -> None:
    _attempted(lives, event.attempt, "taken")


def _refused(lives: _Lives, event: DoseRefusedByNode) -> None:
    life = _attempted(lives, event.attempt, "refused")
    if life is not None and life.word == "refused":
        life.how = event.word


def _ended(lives: _Lives, event: DoseEnded) -> None:
    life = _attempted(lives, event.attempt, "ended")
    if life is not None:
        life.how, life.settled_at = event.how, event.at
        life.believed_ul = event.believed_ul
        life.charge_ul = max(life.charge_ul, event.charge_ul)


def _voided(lives: _Lives, event: DoseVoided) -> None:
    life = _attempted(lives, event.attempt, "voided")
    if life is not None:
        life.charge_ul = life.believed_ul = 0
        life.settled_at = event.at
        _because(life, event.reasons)


def _sealed(lives: _Lives, event: DoseSealed) -> None:
    life = _attempted(lives, event.attempt, "sealed")
    if life is not None:
        life.settled_at = event.at
        _because(life, event.reasons)


def _raised(lives: _Lives, event: ChargeRaised) -> None:
    life = lives.by_attempt.get(event.attempt)
    if life is not None:
        life.charge_ul = max(life.charge_ul, event.charge_ul)


def _attempted(lives: _Lives, attempt: str, word: Word) -> Life | None:
    life = lives.by_attempt.get(attempt)
    if life is not None:
        _move_on(life, word)
    return life


def _move_on(life: Life, word: Word) -> None:
    if _RANK[word] > _RANK[life.word]:
        life.word = word


def _because(life: Life, reasons: tuple[Reason, ...]) -> None:
    codes = (reason.code.value for reason in reasons)
    life.reasons = tuple(dict.fromkeys((*life.reasons, *codes)))


_TELL: dict[type[AnyEvent], Callable[..., None]] = {
    DoseHeld: _held,
    DoseMissed: _missed,
    RequestTakenBack: _taken_back,
    DoseIntended: _intended,
    DoseHanded: _handed,
    DoseTaken: _taken,
    DoseRefusedByNode: _refused,
    DoseEnded: _ended,
    DoseVoided: _voided,
    DoseSealed: _sealed,
    ChargeRaised: _raised,
}
