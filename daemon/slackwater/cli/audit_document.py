"""An audit for other programs, and the schema of its document.

Floor 8. One subject: the document. Laws here: the schema is made from models; every key
of the document stands in it, and no other is allowed.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from slackwater import __version__
from slackwater.audit.audit import Audit
from slackwater.audit.intents import Wrong
from slackwater.audit.reasons import Missing
from slackwater.ledger.codec import timestamp
from slackwater.service.replaying import Replay

DIALECT = "https://json-schema.org/draft/2020-12/schema"
Utc = Annotated[str, Field(description="RFC 3339, UTC")]
Microlitres = Annotated[int, Field(ge=0, description="whole microlitres")]
Count = Annotated[int, Field(ge=0)]


class _Row(BaseModel):
    """An object with exactly these keys."""

    model_config = ConfigDict(extra="forbid")


class Error(_Row):
    """One departure in the words of every face, or why there is no audit."""

    what: str
    where: str
    expected: str
    do: str


class Departed(_Row):
    """One thing that was not done as approved."""

    wrong: Wrong
    dose: str
    at: Utc
    what: str


class MissingDose(_Row):
    """A dose that was approved and not given; it is not made up."""

    dose: str
    due: Utc
    volume_ul: Microlitres
    reason: Missing


class PumpDay(_Row):
    """One pump on one local day of its tank; imagined where `live` is false."""

    day: str
    tank: str
    pump: str
    live: bool
    doses: Count
    given: Count
    approved_ul: Microlitres
    rehearsed_ul: Microlitres | None
    asked_ul: Microlitres
    believed_ul: Microlitres


class Differing(_Row):
    """A decision that this version would make otherwise, in words."""

    dose: str
    at: Utc
    then: str
    now: str


class Replayed(_Row):
    """Stored decisions, made again by this version."""

    version: str
    decisions: Count
    differences: list[Differing]


class AuditDocument(_Row):
    """What `slackwater audit --json` prints."""

    v: int
    command: str
    ok: bool
    errors: list[Error]
    since: Utc
    until: Utc
    approvals: list[int]
    extra: Count
    altered: Count
    duplicate: Count
    unexplained: Count
    beyond: Count
    pending: Count
    by_request: Count
    departures: list[Departed]
    missing: list[MissingDose]
    days: list[PumpDay]
    replay: Replayed | None


def schema() -> dict[str, object]:
    """The schema of the document."""
    return {"$schema": DIALECT, **AuditDocument.model_json_schema()}


def audit_fields(found: Audit, again: Replay | None) -> dict[str, object]:
    """The document's own keys; `again` None where no replay was asked for."""
    return {
        "since": timestamp(found.since),
        "until": timestamp(found.until),
        "approvals": list(found.serials),
        "extra": found.count("extra"),
        "altered": found.count("altered"),
        "duplicate": found.count("duplicate"),
        "unexplained": found.count("unexplained"),
        "beyond": found.count("beyond"),
        "pending": found.pending,
        "by_request": found.by_request,
        "departures": [
            {
                "wrong": one.wrong,
                "dose": one.dose,
                "at": timestamp(one.at),
                "what": one.what,
            }
            for one in found.departures
        ],
        "missing": [
            {
                "dose": one.dose,
                "due": timestamp(one.due_at),
                "volume_ul": one.volume_ul,
                "reason": str(one.reason),
            }
            for one in found.missing
        ],
        "days": [
            {
                "day": str(one.day),
                "tank": one.tank,
                "pump": one.pump,
                "live": one.is_live,
                "doses": one.doses,
                "given": one.given,
                "approved_ul": one.approved_ul,
                "rehearsed_ul": one.rehearsed_ul,
                "asked_ul": one.asked_ul,
                "believed_ul": one.believed_ul,
            }
            for one in sorted(found.days.values(), key=lambda one: (one.day, one.pump))
        ],
        "replay": None if again is None else _replay(again),
    }


def _replay(again: Replay) -> dict[str, object]:
    return {
        "version": __version__,
        "decisions": again.decisions,
        "differences": [
            {
                "dose": one.dose,
                "at": timestamp(one.at),
                "then": one.then,
                "now": one.now,
            }
            for one in again.differences
        ],
    }
