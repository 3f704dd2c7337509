"""The note that files were rehearsed with their faults, which an approval asks for.

Floor 8. One subject: one small file beside the ledger. Laws here: it stands for exactly
one digest, ledger and version of the program, and for nothing a person has read; what
cannot be read is no note; it is replaced whole or not at all, and it lets nothing
dose.
"""

import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from pydantic import ConfigDict, TypeAdapter, ValidationError

from slackwater import __version__
from slackwater.errors import Finding, RefusedError

NAME = "rehearsed.json"
# Fewer faults than this are no rehearsal of what can break (project limit).
LEAST_TRIED = 24
SHORT_DIGEST = 8
ONE_DAY = timedelta(days=1)
_AGAIN = "Run `slackwater rehearse --faults`, read it, and approve again."
_MEND = "Mend what the report names, then rehearse with --faults and approve again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """What one report found; `report` is the SHA-256 of its document (RFC 8785).

    `unsound` names the faults that ended badly, `missed` counts doses that would be
    missed though all is well; `first` and `until` are the rehearsed days.
    """

    __pydantic_config__ = ConfigDict(extra="forbid", strict=True)

    digest: str
    ledger: str
    software: str
    report: str
    tried: int
    missed: int
    unsound: tuple[str, ...] = ()
    first: date | None = None
    until: date | None = None

    @property
    def span(self) -> tuple[date, date] | None:
        """The rehearsed days; None where the note does not say."""
        if self.first is None or self.until is None:
            return None
        return self.first, self.until


_FORM = TypeAdapter(Receipt)


def note(state_dir: Path, receipt: Receipt) -> bool:
    """Leave the note beside the ledger; False where this user may not."""
    path = state_dir / NAME
    part = path.with_name(f"{NAME}.part")
    try:
        part.write_bytes(_FORM.dump_json(receipt))
        part.replace(path)
    except OSError:
        return False
    return True


def noted(state_dir: Path) -> Receipt | None:
    """The note that lies beside a ledger; None where there is none to be read."""
    try:
        text = (state_dir / NAME).read_text("utf-8")
        tree = json.loads(text, object_pairs_hook=_once)
        return _FORM.validate_json(json.dumps(tree))
    except (OSError, ValueError, ValidationError):
        return None


def refuse_undated(missing: Collection[str]) -> None:
    """Refuse dated corrections that were not rehearsed to their end.

    Raises: RefusedError that names them.
    """
    if missing:
        what = f"not rehearsed on all of its days: {', '.join(missing)}"
        raise RefusedError(_finding(what, _AGAIN))


def refuse_short(
    receipt: Receipt, needed_days: int, today: date, from_day: date
) -> None:
    """Refuse a report of so few days from one on that nobody saw what the plan does.

    Raises: RefusedError with both figures.
    """
    if receipt.span is None:
        raise RefusedError(
            _finding("the note does not say which days it shows", _AGAIN)
        )
    first, until = receipt.span
    if until < today:
        what = f"the last rehearsal is of the past: {first} to {until}"
        raise RefusedError(_finding(what, _AGAIN))
    days = max((until - max(first, from_day)).days + 1, 0)
    if days < needed_days:
        since = "" if first >= from_day else f" from {from_day} on"
        what = f"the last rehearsal showed {days} of at least {needed_days} days{since}"
        wish = (
            f"Give it --from {from_day}." if from_day > today else "Leave out --days."
        )
        raise RefusedError(_finding(what, f"{_AGAIN} {wish}"))


def refuse_late(receipt: Receipt, begins: date) -> None:
    """Refuse a report that begins after the plan does, by more than a day.

    Raises: RefusedError with both days.
    """
    if receipt.first is not None and receipt.first > begins + ONE_DAY:
        what = (
            f"the last rehearsal begins on {receipt.first}, and the plan doses from "
            f"{begins} on"
        )
        raise RefusedError(_finding(what, f"{_AGAIN} Leave out --from."))


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """An object whose keys stand once.

    Raises: ValueError.
    """
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError(NAME)
    return found


def accepted(receipt: Receipt | None, digest: str, ledger: str) -> Receipt:
    """A note that is enough to approve files.

    Raises: RefusedError that says why it is not.
    """
    if receipt is None:
        raise RefusedError(
            _finding("no rehearsal with faults was made beside this ledger", _AGAIN)
        )
    for fails, what, do in _tests(receipt, digest, ledger):
        if fails:
            raise RefusedError(_finding(what, do))
    return receipt


def _tests(
    receipt: Receipt, digest: str, ledger: str
) -> Iterator[tuple[bool, str, str]]:
    """What would speak against a note, whether it does, and what to do then."""
    yield (
        receipt.ledger != ledger,
        "the last rehearsal with faults was made beside another ledger",
        _AGAIN,
    )
    short = receipt.digest[:SHORT_DIGEST]
    yield (
        receipt.digest != digest,
        f"the last rehearsal with faults was of other files, digest {short}",
        _AGAIN,
    )
    yield (
        receipt.software != __version__,
        f"the rehearsal was made by slackwater {receipt.software}",
        _AGAIN,
    )
    yield (
        receipt.tried < LEAST_TRIED,
        f"only {receipt.tried} faults could be tried, {LEAST_TRIED} are needed",
        _MEND,
    )
    unsound = ", ".join(receipt.unsound)
    yield bool(unsound), f"faults ended badly: {unsound}", _MEND
    yield (
        receipt.missed > 0,
        f"{receipt.missed} doses would be missed though nothing is wrong",
        _MEND,
    )


def _finding(what: str, do: str) -> Finding:
    return Finding(
        what=what,
        where="approve",
        expected="a clean report of exactly these files, made with --faults",
        do=do,
    )
