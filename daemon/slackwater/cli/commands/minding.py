"""`tasks`: what a person must do that no pump can.

Floor 8. One subject: open tasks. Laws here: a task stands until a person closes it or
the assessment that set it takes it back; overdue ones come first.
"""

from collections.abc import Iterator, Sequence
from typing import Literal, TypedDict, Unpack

import click

from slackwater.cli.correcting import missing_why
from slackwater.cli.described import described
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, only, opened, write
from slackwater.cli.render import table
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import refuse_no_tank
from slackwater.cli.tasks import Due, chores_due, open_tasks
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.typed_levels import settled
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.waters import TaskClosed
from slackwater.pump.outcome import Stamp


class Asked(TypedDict):
    """What is asked of the tasks."""

    tank: str | None
    done: str | None
    drop: str | None
    why: str
    by: str | None


@verb(
    "tasks",
    epilog="Examples: slackwater tasks; slackwater tasks --done t-5b2f; slackwater "
    "tasks --drop t-5b2f --why 'sold that tank'",
)
@click.option("--tank", metavar="ID", help="Only of this tank.")
@click.option("--done", metavar="ID", help="It was done.")
@click.option("--drop", metavar="ID", help="It no longer applies.")
@click.option("--why", default="", metavar="TEXT", help="Why, or what came of it.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def tasks(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """List what a person has still to do.

    Assessments set tasks: a retest, a water change, an adsorbent. Overdue ones come
    first. A task that still applies comes back with the next assessment. A pump that
    nobody measured for 75 days stands there until it is measured, a tube that is
    nearly worn until it is swapped.
    """
    settled(_unclear(asked))
    _refuse_no_tank(shell, asked["tank"])
    wanted = asked["done"] or asked["drop"]
    closed = None if wanted is None else _close(shell, wanted, asked)
    with opened(shell.state) as found:
        machine = described(shell, found.state)
        kept = open_tasks(found.state, found.now.utc, machine)
        old = chores_due(found.state, found.now.utc, machine)
    due = sorted([*kept, *old], key=lambda one: one.task.due_on)
    shown = [one for one in due if asked["tank"] in (None, one.task.tank)]
    lines = [] if closed is None else [f"Closed {closed.task}: {closed.how}.", ""]
    return Answer(
        fields={
            "closed": None if closed is None else closed.task,
            "tasks": [one.document for one in shown],
        },
        text="\n".join((*lines, _page(shown))),
    )


def _refuse_no_tank(shell: Shell, tank: str | None) -> None:
    with opened(shell.state) as found:
        tanks = (one.tank for one in found.state.tasks.values())
        refuse_no_tank(tank, described(shell, found.state), *tanks)


def _page(shown: Sequence[Due]) -> str:
    if not shown:
        return "Nothing is left to do."
    rows = [(one.task.task, one.task.tank, one.words, one.task.text) for one in shown]
    return table(("id", "tank", "due", "what"), rows)


def _close(shell: Shell, wanted: str, asked: Asked) -> TaskClosed:
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note = typed_text(asked["why"], "--why")
    how: Literal["done", "dropped"] = "done" if asked["done"] else "dropped"

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        if wanted not in state.tasks:
            raise InputError(_no_task(wanted, state))
        return [TaskClosed(**stamp, task=wanted, how=how, by=who, note=note)]

    _state, written = write(shell.state, decide)
    return only(written, TaskClosed)


def _unclear(asked: Asked) -> Iterator[Finding]:
    if asked["done"] and asked["drop"]:
        yield Finding(
            what="--done and --drop are both given",
            where="tasks",
            expected="one of them",
            do="Take one out; nothing was written.",
        )
    elif asked["drop"]:
        yield from missing_why("--drop", asked["why"])
    elif asked["why"] and not asked["done"]:
        yield Finding(
            what="--why has no meaning here",
            where="tasks",
            expected="--why beside --done or --drop",
            do="Take it out.",
        )


def _no_task(wanted: str, state: State) -> Finding:
    return Finding(
        what=f'no open task is called "{wanted}"',
        where="tasks",
        expected=f"an open task: {', '.join(sorted(state.tasks)) or 'there is none'}",
        do="See `slackwater tasks`; nothing was written.",
    )
