"""`since`: what happened since a moment, for whoever comes now.

Floor 8. One subject: a change of shift. Laws here: it leads with how things stand and
with what waits for a person; the daily round of the daemon is left out, its faults are
not; nothing is written.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

import click

from slackwater.cli.acts import is_usual
from slackwater.cli.chronicle import Chronicle, Stretch, chronicle
from slackwater.cli.described import described, tanks_of, zone_of
from slackwater.cli.document import Answer
from slackwater.cli.entered_text import entered_documents, waiting_entries
from slackwater.cli.leaf import Leaf, Part, leaf_text
from slackwater.cli.moments import Wall
from slackwater.cli.opening import opened
from slackwater.cli.past_parts import (
    act_documents,
    acts_part,
    doses_part,
    pumped_document,
    test_document,
    tests_part,
)
from slackwater.cli.render import local, span
from slackwater.cli.shell import Shell, verb
from slackwater.cli.since_when import since_when
from slackwater.cli.standing import Standing, standing
from slackwater.ledger.codec import timestamp

USUAL = timedelta(days=1)


@verb(
    "since",
    epilog="Examples: slackwater since; slackwater since 'yesterday 18:00'; slackwater "
    "since 06:00; slackwater since 8h; slackwater since 20m; slackwater since "
    "2026-05-03",
)
@click.argument("when", required=False, metavar="[WHEN]")
@click.option("--tank", metavar="ID", help="Only of this tank.")
def since(shell: Shell, when: str | None, *, tank: str | None) -> Answer:
    """Say what happened since the last shift.

    How things stand, what waits for a person, doses, tests, and who did what. WHEN is a
    time of day, "yesterday 18:00", a length like 8h or 2d, or a date; a day without it.
    """
    with opened(shell.state) as found:
        stood = standing(found, shell)
        machine = described(shell, found.state)
        tanks = tanks_of(found.state, machine, tank)
        zone = zone_of(machine, tanks)
        now = found.now.utc
        begin = _begin(when, zone, now)
        happened = chronicle(
            found.ledger,
            shell.state,
            Stretch(since=begin, until=now + timedelta(seconds=1), tanks=tanks),
            machine,
        )
    return _answer(stood, happened, zone)


def _begin(when: str | None, zone: str, now: datetime) -> datetime:
    if when is None:
        return now - USUAL
    return since_when(when, Wall(zone=zone, now=now, option="since"))


def _answer(stood: Standing, happened: Chronicle, zone: str) -> Answer:
    begin, now = happened.stretch.since, stood.found.now.utc
    acts = [one for one in happened.acts if not is_usual(one)]
    word, why = stood.word
    leaf = Leaf(
        title=f"Since {local(begin, zone)}, {span(now - begin)}",
        lead=(f"{word}  {why}",),
        parts=(
            Part(heading="Waits for you", lines=tuple(_waits(stood))),
            doses_part(happened),
            tests_part(happened, zone),
            acts_part("Who did what", acts, happened, zone),
        ),
    )
    return Answer(
        fields={
            "since": timestamp(begin),
            "until": timestamp(now),
            "tanks": list(happened.stretch.tanks),
            "state": word.lower().replace(" ", "-"),
            "why": why,
            "waits": list(_waits(stood)),
            "unconfirmed": entered_documents(stood.state),
            "doses": [pumped_document(one) for one in happened.pumped],
            "tests": [test_document(one) for one in happened.tests],
            "acts": act_documents(acts, happened),
        },
        text=leaf_text(leaf),
    )


def _waits(stood: Standing) -> Iterator[str]:
    """What only a person can settle, each with the verb that does."""
    for hold in stood.holds:
        if hold.latched:
            yield f"Hold {hold.hold_id}: `slackwater release {hold.hold_id}`."
    unseen = [one for one in stood.alarms if one.wants_eyes]
    for one in unseen:
        yield f"Alarm {one.raised.alarm}: `slackwater ack {one.raised.alarm}`."
    for due in stood.due:
        if due.days <= 0:
            yield f"{due.task.text} ({due.words}, {due.task.task})"
    told = len(waiting_entries(stood.state))
    if told:
        count = "1 test" if told == 1 else f"{told} tests"
        yield f"{count} entered from afar: `slackwater confirm`."
