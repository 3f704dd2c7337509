"""`status`: how things stand, on one screen.

Floor 8. One subject: the verb and its document. Laws here: text and document come from
one standing; a figure of the document is rounded to what can be known.
"""

from slackwater.alarms.words import document
from slackwater.cli.amounts import effect_decimal
from slackwater.cli.aside import aside_document
from slackwater.cli.asked_by_hand import asked_documents
from slackwater.cli.document import Answer, reason_document
from slackwater.cli.entered_text import entered_documents
from slackwater.cli.exchange_text import exchange_documents
from slackwater.cli.kept_back import kept_documents
from slackwater.cli.lasting import tube_documents
from slackwater.cli.opening import opened
from slackwater.cli.outlook import Outlook
from slackwater.cli.relay_text import relay_documents
from slackwater.cli.shell import Shell, verb
from slackwater.cli.standing import Standing, standing
from slackwater.cli.status_page import status_page
from slackwater.cli.width import page_columns
from slackwater.facts.audits import Audited
from slackwater.ledger.codec import timestamp
from slackwater.planning.daily import ALKALINITY


@verb("status")
def status(shell: Shell) -> Answer:
    """Say how things stand, on one screen.

    Leads with the state and its reason. With --json all of it in one document.
    """
    with opened(shell.state) as found:
        stood = standing(found, shell)
    return Answer(fields=_fields(stood), text=status_page(stood, page_columns()))


def _fields(stood: Standing) -> dict[str, object]:
    word, why = stood.word
    approval = stood.approved.approval if stood.approved else None
    return {
        "at": timestamp(stood.found.now.utc),
        "state": word.lower().replace(" ", "-"),
        "why": why,
        "stage": stood.state.stage,
        "daemon_is_here": stood.is_here,
        "shadow_s": int(stood.shadow.total_seconds()),
        "missing": [f"{one.where}: {one.what}. {one.do}" for one in stood.missing],
        "approval": None
        if approval is None
        else {
            "serial": approval.serial,
            "digest": approval.digest,
            "by": approval.by,
            "takes_over_at": timestamp(approval.takes_over_at),
            "expires_at": timestamp(approval.expires_at),
            "ends_at": timestamp(approval.ends_at),
        },
        "holds": [
            {
                "hold": name,
                "scope": raised.scope,
                "latched": raised.latched,
                "note": raised.note,
                "reasons": [reason_document(raised.reason)],
            }
            for name, raised in sorted(stood.state.holds.items())
        ],
        "left_to_old": stood.old,
        "halves": {
            scope: int(left.total_seconds())
            for scope, (left, _why) in stood.halves.items()
        },
        "lowered": dict(sorted(stood.state.lowered.items())),
        **aside_document(stood.state, stood.found.now.utc),
        "alarms": [document(one) for one in stood.alarms],
        "unconfirmed": entered_documents(stood.state),
        "audit": _audit_document(stood.state.audited),
        "relays": []
        if stood.approved is None
        else relay_documents(stood.approved.machine, stood.state),
        "exchanges": []
        if stood.approved is None
        else exchange_documents(stood.approved.machine, stood.state),
        "tubes": []
        if stood.approved is None
        else tube_documents(stood.approved.machine, stood.state),
        "first_aid": stood.first_aid,
        "overdue_tasks": [due.document for due in stood.due if due.is_overdue],
        "waiting": [
            {
                "dose": held.dose_id,
                "pump": held.pump,
                "reasons": [reason_document(reason) for reason in held.reasons],
            }
            for held in stood.waiting
        ],
        "asked_by_hand": asked_documents(stood.state, stood.found.now.utc),
        "missed_in_24_h": [
            {
                "dose": event.dose.id,
                "at": timestamp(event.at),
                "reasons": [reason_document(reason) for reason in event.reasons],
            }
            for events in stood.missed.values()
            for event in events
        ],
        "kept_back": kept_documents(stood.kept),
        "tanks": [_tank_document(stood, each) for each in stood.outlooks.values()],
    }


def _audit_document(audit: Audited | None) -> dict[str, object] | None:
    """The figures of the newest kept audit, None where none was made."""
    if audit is None:
        return None
    return {
        "at": timestamp(audit.at),
        "since": timestamp(audit.since),
        "until": timestamp(audit.until),
        "doses": audit.doses,
        "given": audit.given,
        "missing": audit.missing,
        "faults": audit.faults,
        "first": audit.first,
        "version": audit.version,
    }


def _tank_document(stood: Standing, each: Outlook) -> dict[str, object]:
    reading, bottle, dose = each.reading, each.smallest, each.following
    kept = stood.kept_of(each)
    given, planned, short = (
        effect_decimal(ALKALINITY, amount, each.tank)
        for amount in (each.given, each.planned, each.short)
    )
    return {
        "tank": each.tank.id,
        "alkalinity": None
        if reading is None
        else {
            "meq_per_l": str(reading.value),
            "probe": reading.probe,
            "taken_at": timestamp(reading.taken_at),
            "now_meq_per_l": None
            if each.level_now is None
            else str(round(each.level_now, 3)),
            "highest_meq_per_l": str((each.higher or reading).value),
        },
        "hours_to_floor": _tenths(each.hours_to_floor),
        "hours_to_ceiling": _tenths(each.hours_to_ceiling),
        "given": given,
        "planned": planned,
        "short": short,
        "unit": "dKH",
        "reservoir": None
        if bottle is None
        else {
            "id": bottle.id,
            "left_ul": bottle.left_ul,
            "days": bottle.days,
            "days_low": bottle.days_low,
            "days_high": bottle.days_high,
        },
        "next": None
        if dose is None
        else {
            "dose": dose.id,
            "due": timestamp(dose.due_at),
            "volume_ul": dose.volume_ul,
            "held": kept is not None,
            "not_before": timestamp(dose.due_at if kept is None else kept.until),
        },
    }


def _tenths(number: float | None) -> float | None:
    return None if number is None else round(number, 1)
