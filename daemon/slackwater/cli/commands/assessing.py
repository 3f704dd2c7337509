"""`assess`: where a tank stands, and what a person should do.

Floor 8. One subject: assessing, and remembering what is to do. Laws here: the page is
told even where the ledger cannot be written; less of the past than usual sets and
closes no task; nothing is dosed from here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from textwrap import wrap
from typing import TypedDict, Unpack

import click

from slackwater.alarms.uptake import uptake_alarms
from slackwater.assessment.records import Assessment
from slackwater.cli.assess_document import assess_document
from slackwater.cli.assess_text import WIDTH, assess_text
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.opening import local_user, opened, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import only_tank
from slackwater.cli.task_news import Asking, News, news_words, task_news
from slackwater.cli.width import within
from slackwater.errors import LedgerError, RefusedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.service.assessing import LOOK_BACK_DAYS, LookBack, assessed

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
    "house remember it; a task whose test has come, or that no longer applies, is "
    "closed. --no-tasks only looks, and so does a look at less of the past. Without "
    "write access to the ledger it only looks too, and says so. Example: slackwater "
    "assess --tank reef --days 300",
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
        made = assessed(
            found.ledger,
            machine,
            tank,
            found.now.utc,
            LookBack.of(found.state, wishes["days"]),
        )
    if wishes["no_tasks"] or wishes["days"] < LOOK_BACK_DAYS:
        kept = _Kept()
    else:
        kept = _keep(shell, made, wishes, machine.tanks[tank].zone)
    page = (assess_text(made, machine.tanks[tank].zone), kept.words)
    return Answer(
        fields={**assess_document(made), **kept.document},
        text="\n\n".join(part for part in page if part),
        exit_code=REFUSED if made.has_alarm else FINE,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """What became of the tasks; `trouble` why nothing could be written, else empty."""

    news: News = field(default_factory=News)
    texts: Mapping[str, str] = field(default_factory=dict)
    trouble: str = ""

    @property
    def words(self) -> str:
        """Lines for people; empty when nothing changed."""
        if self.trouble:
            return f"No task was recorded: {self.trouble}."
        return "\n".join(
            fitted
            for sentence in news_words(self.news, self.texts)
            for fitted in wrap(sentence, within(WIDTH), subsequent_indent="  ")
        )

    @property
    def document(self) -> dict[str, object]:
        """The same for a document."""
        return {
            "tasks_recorded": [one.task for one in self.news.opened],
            "tasks_closed": [
                {"task": one.task, "how": one.how, "why": one.note}
                for one in self.news.closed
            ],
            "tasks_not_recorded": self.trouble,
        }


def _keep(shell: Shell, made: Assessment, wishes: Wishes, zone: str) -> _Kept:
    """Write down what changes in the tasks."""
    by = wishes["by"] or local_user()
    found = _Kept()

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        nonlocal found
        news = task_news(state, made, Asking(by=by, stamp=stamp, zone=zone))
        texts = {name: task.text for name, task in state.tasks.items()}
        found = _Kept(news=news, texts=texts)
        return [*news.entries, *uptake_alarms(made, state, stamp, by)]

    try:
        write(shell.state, decide)
    except (LedgerError, RefusedError) as error:
        return _Kept(trouble=error.findings[0].what)
    except PermissionError:
        return _Kept(trouble=f"{local_user()} may not write the ledger")
    return found
