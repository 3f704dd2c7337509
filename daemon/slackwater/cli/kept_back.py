"""What keeps doses back at this moment, whether a hold does or the gate.

Floor 8. One subject: lines of which nothing would begin. Laws here: the grounds are
those of a `why`; what passes before the next dose is due, and what doses of every day
wait for, keeps nothing back; an end that is not known is not told.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.alarms.refusals import PASSING
from slackwater.cli.cap_room import OF_TIME
from slackwater.cli.document import reason_document
from slackwater.cli.grounds import Ground, Grounds
from slackwater.cli.render import local
from slackwater.cli.wording import reason_words
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.tank import Tank
from slackwater.ledger.codec import timestamp

# Caps pass by themselves as well, but not before the next dose where they stand here.
_DAILY = PASSING - OF_TIME


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A line, `TANK/LINE`, with what keeps its next dose back.

    `reasons` begin with those of holds, `of_gate` are the others; `until` is the first
    moment at which all of it may be over, as far as ends are known, and never before
    the dose is due.
    """

    line: str
    pump: str
    tank: Tank
    reasons: tuple[Reason, ...]
    of_gate: tuple[Reason, ...]
    until: datetime

    @property
    def when(self) -> str:
        """When it ends at the earliest, on the tank's own clock."""
        return f"not before {local(self.until, self.tank.zone)}"


def kept_back(told: Grounds) -> tuple[Kept, ...]:
    """The lines of ours that nothing would begin of, in order of their names."""
    ours = [one for one in told.lines if one.name not in told.state.left_to_old]
    found = [kept for one in ours if (kept := _kept(told, one)) is not None]
    # A group that waits keeps no more back than what it waits for.
    real = {kept.tank.id for kept in found if not _only_group(kept)}
    return tuple(kept for kept in found if kept.tank.id in real)


def kept_lines(kept: Sequence[Kept]) -> Iterator[str]:
    """One line each for people: the pump, each reason, and when it may end."""
    for one in kept:
        words = " ".join(reason_words(reason, one.tank) for reason in one.reasons)
        yield f"{one.pump}: {words.removesuffix('.')}; {one.when}."


def kept_documents(kept: Sequence[Kept]) -> list[dict[str, object]]:
    """The same for a document."""
    return [
        {
            "line": one.line,
            "pump": one.pump,
            "not_before": timestamp(one.until),
            "reasons": [reason_document(reason) for reason in one.reasons],
        }
        for one in kept
    ]


def _kept(told: Grounds, one: Ground) -> Kept | None:
    now = told.found.now.utc
    due_at = now + timedelta(seconds=one.ahead_s)
    holds = [hold for hold in one.holds if hold.until is None or hold.until > due_at]
    of_gate = tuple(reason for reason in one.reasons if reason.code not in _DAILY)
    group = tuple(reason for reason in one.reasons if reason.code is Code.GROUP)
    if not (holds or of_gate or group):
        return None
    ends = [hold.until for hold in holds if hold.until is not None]
    if one.room_s is not None:
        ends.append(now + timedelta(seconds=one.room_s))
    return Kept(
        line=one.name,
        pump=one.pump.id,
        tank=one.tank,
        reasons=(*(hold.reason for hold in holds), *(of_gate or group)),
        of_gate=of_gate or group,
        until=max([due_at, *ends]),
    )


def _only_group(kept: Kept) -> bool:
    return all(reason.code is Code.GROUP for reason in kept.reasons)
