"""`why`: what allows, shortens or holds a dose, and what would end it.

Floor 8. One subject: the verb and its document. Laws here: it writes nothing and asks
no daemon; what the daemon alone can see is as it was last written down.
"""

from collections.abc import Mapping
from pathlib import Path

import click

from slackwater.alarms.words import document
from slackwater.cli.aside import bypass_document
from slackwater.cli.asked_by_hand import asked_document
from slackwater.cli.document import FINE, REFUSED, Answer, reason_document
from slackwater.cli.dose_story import Story, story_of, story_text
from slackwater.cli.grounds import Ground, Grounds, grounds, skipping
from slackwater.cli.grounds_text import overview, page
from slackwater.cli.long_absence import span_document, span_of, span_words
from slackwater.cli.opening import opened
from slackwater.cli.shell import Shell, verb
from slackwater.cli.wording import reason_words
from slackwater.errors import Finding, InputError
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Reason
from slackwater.facts.releases import way_out
from slackwater.ledger.codec import timestamp
from slackwater.ledger.views import line_document
from slackwater.water.show import show_volume

# A dose is `tank/line@local-date#ordinal`; a pump has none of these.
DOSE_MARKS = ("@", "#", "/")


@verb(
    "why",
    epilog="Without a name: all pumps, one line each. Exit code 1 when something is "
    "held or was missed. Examples: slackwater why; slackwater why carbonate; "
    "slackwater why reef/carbonate@2026-05-03#07",
)
@click.argument("name", metavar="[PUMP|DOSE]", required=False)
def why(shell: Shell, name: str | None) -> Answer:
    """Say why a pump or a dose runs, or does not.

    Everything that allows, shortens or holds it, with figures and ages, and what
    would end it.
    """
    if name is not None and any(mark in name for mark in DOSE_MARKS):
        return _dose(shell.state, name)
    with opened(shell.state) as found:
        told = grounds(found, shell.state, name or "")
    if name is not None and not told.lines:
        story = story_of(shell.state, name)
        return _asked_for(told, name) if story is None else _told_story(story)
    return Answer(
        fields=_fields(told),
        text=overview(told) if name is None else page(told),
        exit_code=REFUSED if any(one.word == "held" for one in told.lines) else FINE,
    )


def _asked_for(told: Grounds, name: str) -> Answer:
    """A request that waits and of which no daemon has said anything yet.

    Raises: InputError when nothing that is called so waits.
    """
    asked = told.found.state.requests.get(name)
    if asked is None:
        raise InputError(_unknown(told, name))
    volume = show_volume(asked.volume_ul)
    return Answer(
        fields={"dose": name, "became": "waits", "asked": asked_document(asked)},
        text=f"{name}  waits: {volume} of {asked.pump} asked for by {asked.by}, and no "
        f"daemon has looked at it yet.\n  Not meant? `slackwater take-back {name}`",
    )


def _dose(state_dir: Path, name: str) -> Answer:
    story = story_of(state_dir, name)
    if story is not None:
        return _told_story(story)
    with opened(state_dir) as found:
        told = grounds(found, state_dir)
    request = skipping(told.state, name)
    if request is not None:
        return _will_be_skipped(name, request)
    ahead = [one for one in told.lines if one.following and one.following.id == name]
    if not ahead:
        return _swallowed(told, state_dir, name)
    shown = Grounds(
        found=told.found,
        approved=told.approved,
        is_here=told.is_here,
        glimpse=told.glimpse,
        lines=tuple(ahead),
    )
    held = any(one.word == "held" for one in ahead)
    return Answer(
        fields={"dose": name, "became": "not due yet", **_fields(shown)},
        text=f"{name} is not due yet.\n{page(shown)}",
        exit_code=REFUSED if held else FINE,
    )


def _will_be_skipped(name: str, request: str) -> Answer:
    return Answer(
        fields={"dose": name, "became": "will be skipped", "request": request},
        text=f"{name} will be skipped: request {request} asked for that. It is not "
        "made up; the next dose of its line is as planned.",
        exit_code=REFUSED,
    )


def _swallowed(told: Grounds, state_dir: Path, name: str) -> Answer:
    """A dose that one entry missed together with its neighbours.

    Raises: InputError when no entry holds it.
    """
    tanks = told.approved.machine.tanks if told.approved else {}
    tank = tanks.get(name.partition("/")[0])
    span = span_of(state_dir, name, tank.zone) if tank else None
    if span is None:
        raise InputError(_no_dose(name))
    lines = [
        f"{name}  missed, will not be made up",
        f"  {span_words(span)}",
        *(f"      {reason_words(reason)}" for reason in span.reasons),
    ]
    return Answer(
        fields={"dose": name, "became": "missed", "long_absence": span_document(span)},
        text="\n".join(lines),
        exit_code=REFUSED,
    )


def _told_story(story: Story) -> Answer:
    good = story.life.word in ("ended", "taken", "taken_back")
    return Answer(
        fields={
            "dose": story.life.dose,
            "became": story.word,
            "life": line_document(story.life),
            "entries": [
                {
                    "at": timestamp(event.at),
                    "kind": event.kind,
                    "reasons": [
                        reason_document(one) for one in getattr(event, "reasons", ())
                    ],
                }
                for event in story.entries
            ],
        },
        text=story_text(story),
        exit_code=FINE if good else REFUSED,
    )


def _fields(told: Grounds) -> dict[str, object]:
    age = told.age
    return {
        "at": timestamp(told.found.now.utc),
        "stage": told.state.stage,
        "daemon_is_here": told.is_here,
        "seen_s_ago": None if age is None else round(age.total_seconds(), 1),
        "lines": [_line(one) for one in told.lines],
        "alarms": [document(one) for one in told.alarms],
    }


def _line(one: Ground) -> dict[str, object]:
    dose, seen = one.following, one.seen
    return {
        "pump": one.pump.id,
        "line": f"{one.rule.line.tank}/{one.rule.line.id}",
        "now": one.word,
        "next": None
        if dose is None
        else {
            "dose": dose.id,
            "due": timestamp(dose.due_at),
            "volume_ul": dose.volume_ul,
        },
        "skipped": [dose.id for dose in one.skipped],
        "asked_ul": None if seen is None else seen.asked_ul,
        "would_dose_ul": None if seen is None or one.word == "held" else seen.volume_ul,
        "holds": [_hold(hold) for hold in one.holds],
        "bypasses": [bypass_document(aside) for aside in one.bypasses],
        "refused": [_reason(reason) for reason in one.reasons],
        "passing": [_reason(reason) for reason in one.passing],
        "shortened": [_reason(one) for one in (() if seen is None else seen.shortened)],
        "counted": [
            {
                "what": account.name,
                "parameter": account.parameter,
                "charged": account.charged,
                "cap": account.cap,
            }
            for account in one.accounts
        ],
    }


def _hold(hold: HoldRaised) -> Mapping[str, object]:
    return {
        "hold": hold.hold_id,
        "scope": hold.scope,
        "latched": hold.latched,
        "since": timestamp(hold.at),
        "until": None if hold.until is None else timestamp(hold.until),
        "by": hold.by,
        "note": hold.note,
        "reasons": [_reason(hold.reason, is_latched=hold.latched)],
    }


def _reason(reason: Reason, *, is_latched: bool = False) -> dict[str, object]:
    ends = way_out(reason.code, is_latched=is_latched)
    return {**reason_document(reason), "ends": ends}


def _unknown(told: Grounds, name: str) -> Finding:
    machine = None if told.approved is None else told.approved.machine
    pumps = [] if machine is None else sorted(machine.pumps)
    known = ", ".join(pumps) or "none, for no plan is approved"
    return Finding(
        what=f'the plan in force has no pump "{name}", and no dose is called so',
        where="why",
        expected=f"a pump of the plan ({known}) or a dose",
        do="See `slackwater why` for all of them.",
    )


def _no_dose(name: str) -> Finding:
    return Finding(
        what=f'nobody knows a dose "{name}"',
        where="why",
        expected="a dose like reef/carbonate@2026-05-03#07 that was decided or is next",
        do="See `slackwater ledger --rows doses` for what there was.",
    )
