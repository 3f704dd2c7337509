"""`assess`: where a tank stands, and what a person should do.

Floor 8. One subject: assessing, and remembering what is to do. Laws here: the page is
told even where the ledger cannot be written; one task stands for each remedy and
parameter, so that asking twice adds nothing; nothing is dosed from here.
"""

from collections.abc import Sequence
from typing import TypedDict, Unpack

import click

from slackwater.assessment.records import Advice, Assessment
from slackwater.cli.assess_document import assess_document
from slackwater.cli.assess_text import assess_text
from slackwater.cli.commands.proposing import only_tank
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.opening import local_user, opened, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import new_id
from slackwater.errors import LedgerError, RefusedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.waters import TaskSet
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.service.assessing import LOOK_BACK_DAYS, assessed

# An assessment looks back no further.
LONGEST_DAYS = 365


class Wishes(TypedDict):
    """What a person may ask for."""

    tank: str | None
    days: int
    no_tasks: bool
    by: str | None


@verb(
    "assess",
    epilog="Every remedy that is not yet a task becomes one, so that `status` and the "
    "house remember it; --no-tasks only looks. Without write access to the ledger it "
    "only looks too, and says so. Example: slackwater assess --tank reef --days 300",
)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
@click.option(
    "--days",
    type=click.IntRange(7, LONGEST_DAYS),
    metavar="N",
    default=LOOK_BACK_DAYS,
    show_default=True,
    help="How much of the past is read.",
)
@click.option("--no-tasks", is_flag=True, help="Record no task, only look.")
@click.option("--by", metavar="NAME", help="Who asks.  [default: the local user]")
def assess(shell: Shell, **wishes: Unpack[Wishes]) -> Answer:
    """Say where the water stands.

    First what to do, in words; then levels now, uptake, traces and how well the
    results hang together. Exit code 1 when there is an alarm.
    """
    machine = read_machine(shell.config)
    tank = only_tank(machine, wishes["tank"])
    with opened(shell.state) as found:
        made = assessed(found.ledger, machine, tank, found.now.utc, days=wishes["days"])
    tasks, trouble = ((), "") if wishes["no_tasks"] else kept(shell, made, wishes)
    return Answer(
        fields={
            **assess_document(made),
            "tasks_recorded": [task.task for task in tasks],
            "tasks_not_recorded": trouble,
        },
        text="\n\n".join(
            part
            for part in (
                assess_text(made, machine.tanks[tank].zone),
                _told(tasks, trouble),
            )
            if part
        ),
        exit_code=REFUSED if made.has_alarm else FINE,
    )


def kept(
    shell: Shell, made: Assessment, wishes: Wishes
) -> tuple[tuple[TaskSet, ...], str]:
    """The tasks that were recorded anew, and why none could be, else nothing."""
    new: list[TaskSet] = []
    by = wishes["by"] or local_user()

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        new[:] = [
            _task(made, advice, by, stamp)
            for advice in made.advice
            if not _is_open(state, made.tank, advice)
        ]
        return new

    try:
        write(shell.state, decide)
    except (LedgerError, RefusedError) as error:
        return (), error.findings[0].what
    return tuple(new), ""


def _is_open(state: State, tank: str, advice: Advice) -> bool:
    about = (tank, advice.remedy, advice.parameter)
    return any(
        about == (task.tank, task.remedy, task.parameter)
        for task in state.tasks.values()
    )


def _task(made: Assessment, advice: Advice, by: str, stamp: Stamp) -> TaskSet:
    return TaskSet(
        **stamp,
        task=new_id("t"),
        tank=made.tank,
        remedy=advice.remedy,
        parameter=advice.parameter,
        text=advice.text,
        due_on=advice.due_on,
        by=by,
    )


def _told(tasks: Sequence[TaskSet], trouble: str) -> str:
    if trouble:
        return f"No task was recorded: {trouble}."
    return f"{len(tasks)} new task(s) recorded." if tasks else ""
