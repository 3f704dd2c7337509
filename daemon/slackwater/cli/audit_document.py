"""An audit for other programs, and the schema of its document.

Floor 8. One subject: the document. Laws here: the schema is made from models; every key
of the document stands in it, and no other is allowed.
"""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from slackwater.audit.audit import Audit
from slackwater.audit.intents import Wrong
from slackwater.audit.reasons import Missing
from slackwater.ledger.codec import timestamp

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
    asked_ul: Microlitres
    believed_ul: Microlitres


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


def schema() -> dict[str, object]:
    """The schema of the document."""
    return {"$schema": DIALECT, **AuditDocument.model_json_schema()}


def audit_fields(found: Audit) -> dict[str, object]:
    """The document's own keys."""
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
                "asked_ul": one.asked_ul,
                "believed_ul": one.believed_ul,
            }
            for one in sorted(found.days.values(), key=lambda one: (one.day, one.pump))
        ],
    }
