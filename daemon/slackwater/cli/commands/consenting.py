"""`approvals`: every consent there was, until when it lasts, and what ended it.

Floor 8. One subject: listing approvals. Laws here: nothing is written; each has one
word and the reason for it; what runs out is told with its date.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from slackwater.cli.commands.checking import SHORT_DIGEST
from slackwater.cli.document import Answer
from slackwater.cli.opening import Opened, approval_at, opened, read_approval
from slackwater.cli.render import local, span, table
from slackwater.cli.shell import Shell, verb
from slackwater.facts.events import PlanApproved, PlanWithdrawn
from slackwater.facts.plan import Plan
from slackwater.ledger.codec import timestamp
from slackwater.ledger.views import Wanted, entries
from slackwater.water.show import show_volume

NONE = "No plan was ever approved: `slackwater approve`."


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One approval, the word for how it stands, and why in a few words."""

    event: PlanApproved
    plan: Plan
    zone: str
    word: str
    why: str

    @property
    def corrections(self) -> list[tuple[str, str]]:
        """Its corrections, each with its last day."""
        return [
            (f"{line.tank}/{line.id}", str(line.last_day))
            for line in self.plan.lines
            if line.purpose == "correction"
        ]


@verb(
    "approvals",
    epilog="`slackwater withdraw SERIAL` ends one at once, also a request over MQTT; "
    "only `slackwater approve` on this machine gives one.",
)
def approvals(shell: Shell) -> Answer:
    """List what was approved, and until when it lasts.

    Every approval there was stands with what ended it. Corrections end on their last
    day and with their approval. Upkeep goes on as approved for a while after the end,
    with an alarm each day; then nothing is dosed.
    """
    with opened(shell.state) as found:
        told = _told(found)
    return Answer(
        fields={"approvals": [_document(one) for one in told]},
        text=_page(told) if told else NONE,
    )


def _told(found: Opened) -> list[Told]:
    """Every approval, the newest first."""
    given: dict[int, PlanApproved] = {}
    gone: dict[int, PlanWithdrawn] = {}
    wanted = Wanted(kinds=("plan_approved", "plan_withdrawn"))
    for entry in entries(found.ledger, wanted):
        if isinstance(entry.event, PlanApproved):
            # A serial that comes back is no other consent.
            given.setdefault(entry.event.approval.serial, entry.event)
        elif isinstance(entry.event, PlanWithdrawn):
            gone.setdefault(entry.event.serial, entry.event)
    return [_one(found, given, gone, serial) for serial in sorted(given, reverse=True)]


def _one(
    found: Opened,
    given: Mapping[int, PlanApproved],
    gone: Mapping[int, PlanWithdrawn],
    serial: int,
) -> Told:
    event = given[serial]
    files = read_approval(event)
    zone = next(iter(files.machine.tanks.values())).zone
    word, why = _standing(found, event, zone)
    if serial in gone:
        ended = gone[serial]
        reason = f": {ended.why}" if ended.why else ""
        word = "withdrawn"
        why = f"by {ended.by} at {local(ended.at, zone)}{reason}"
    return Told(event=event, plan=files.plan, zone=zone, word=word, why=why)


def _standing(found: Opened, event: PlanApproved, zone: str) -> tuple[str, str]:
    """The word for one that nobody withdrew."""
    approval, utc = event.approval, found.now.utc
    standing = [one.approval.serial for one in found.state.approvals]
    running = approval_at(found.state, utc)
    if approval.serial in standing and approval.takes_over_at > utc:
        return "waits", f"takes over in {span(approval.takes_over_at - utc)}"
    if running is None or running.approval.serial != approval.serial:
        return "replaced", "another one took its place"
    if utc >= approval.ends_at:
        return "expired", f"nothing is dosed since {local(approval.ends_at, zone)}"
    if utc >= approval.expires_at:
        left = span(approval.ends_at - utc)
        return "in grace", f"expired; upkeep goes on for {left}, then nothing"
    return "in force", f"for {span(approval.expires_at - utc)} more"


def _page(told: Sequence[Told]) -> str:
    rows = [
        (
            one.event.approval.serial,
            one.word,
            one.event.approval.digest[:SHORT_DIGEST],
            _time(one.event.approval.takes_over_at, one),
            _time(one.event.approval.expires_at, one),
        )
        for one in told
    ]
    # Names and reasons are as long as they are: below the table they can be wrapped.
    heads = (">no.", "stands", "digest", "|takes over", "|expires")
    return "\n".join((table(heads, rows), "", *_whys(told), *_lines(told)))


def _whys(told: Sequence[Told]) -> Iterator[str]:
    """Who gave each one, and what became of it."""
    for one in told:
        approval = one.event.approval
        yield f"{approval.serial} by {approval.by}: {one.word}, {one.why}."


def _lines(told: Sequence[Told]) -> Iterator[str]:
    """What the one that counts gives, and which of it ends before the rest."""
    for one in told:
        if one.word not in ("in force", "in grace", "waits"):
            continue
        number = one.event.approval.serial
        daily = ", ".join(
            f"{line.tank}/{line.id} {show_volume(line.per_day_ul)}"
            for line in one.plan.lines
        )
        yield f'Approval {number}, "{one.plan.name}", a dosing day: {daily}.'
        for name, day in one.corrections:
            yield f"  {name} is a correction and ends on {day}."


def _time(utc: datetime, one: Told) -> str:
    return local(utc, one.zone)


def _document(one: Told) -> dict[str, object]:
    approval = one.event.approval
    return {
        "serial": approval.serial,
        "stands": one.word.replace(" ", "-"),
        "why": one.why,
        "digest": approval.digest,
        "by": approval.by,
        "approved_at": timestamp(one.event.at),
        "takes_over_at": timestamp(approval.takes_over_at),
        "expires_at": timestamp(approval.expires_at),
        "ends_at": timestamp(approval.ends_at),
        "plan": one.plan.name,
        "pumps": sorted({line.pump for line in one.plan.lines}),
        "corrections": [
            {"line": name, "ends_on": day} for name, day in one.corrections
        ],
    }
