"""The report of a visit: one page, as text, as HTML and as a document.

Floor 8. One subject: what came of a visit. Laws here: what was not approved says so and
gives exit code 1; what is left to do stands at the end; every act has its person.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from slackwater.cli.chronicle import Chronicle, Stretch, chronicle
from slackwater.cli.described import described, zone_of
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.leaf import MARK, Leaf, Part, leaf_text, leaves_html
from slackwater.cli.opening import opened
from slackwater.cli.past_parts import (
    act_documents,
    acts_part,
    doses_part,
    pumped_document,
    test_document,
    tests_part,
)
from slackwater.cli.render import local
from slackwater.cli.report.filing import write_page
from slackwater.cli.shell import Shell
from slackwater.cli.tasks import chores_due, open_tasks
from slackwater.cli.visiting import Visit
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp

NOT_APPROVED = "not approved: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A visit that has ended; `agreed` is what became of its plan, in words."""

    tank: str
    by: str
    visit: Visit
    agreed: tuple[str, ...] = ()


def visit_report(shell: Shell, done: Done, html: Path | None) -> Answer:
    """The page of a visit, written to a file as well where one is named.

    Raises: InputError when it cannot be written there; the ledger errors.
    """
    tank, visited = done.tank, done.visit
    with opened(shell.state) as found:
        state, now = found.state, found.now.utc
        machine = described(shell, state)
        until = now + timedelta(seconds=1)
        stretch = Stretch(since=visited.hold.at, until=until, tanks=(tank,))
        happened = chronicle(found.ledger, shell.state, stretch, machine)
    zone = zone_of(machine, [tank])
    todo = list(_todo(state, now, machine, tank))
    leaf = _leaf(done, happened, zone, todo)
    if html is not None:
        write_page(html, leaves_html([leaf]), MARK)
    return Answer(
        fields={
            "tank": tank,
            "by": done.by,
            "began_by": visited.hold.by,
            "began_at": timestamp(visited.hold.at),
            "ended_at": timestamp(now),
            "agreed": list(done.agreed),
            "tests": [test_document(one) for one in happened.tests],
            "doses": [pumped_document(one) for one in happened.pumped],
            "acts": act_documents(happened.acts, happened),
            "to_do": todo,
            "standing_holds": sorted(state.holds),
            "html": None if html is None else str(html),
        },
        text=leaf_text(leaf),
        exit_code=REFUSED if _is_refused(done.agreed) else FINE,
    )


def _is_refused(agreed: Sequence[str]) -> bool:
    return any(word.startswith(NOT_APPROVED) for word in agreed)


def _todo(
    state: State, now: datetime, machine: Machine | None, tank: str
) -> Iterator[str]:
    every = [*open_tasks(state, now, machine), *chores_due(state, now, machine)]
    for one in sorted(every, key=lambda due: due.task.due_on):
        if one.task.tank == tank:
            yield f"{one.task.text} ({one.words})"
    for name in sorted(state.holds):
        yield f"Held: {name}."


def _leaf(done: Done, happened: Chronicle, zone: str, todo: Sequence[str]) -> Leaf:
    began = happened.stretch.since
    return Leaf(
        title=f"Visit to {done.tank}, {local(began, zone)}, by {done.by}",
        parts=(
            tests_part(happened, zone),
            acts_part("What was done", happened.acts, happened, zone),
            doses_part(happened),
            Part(
                heading="Plan",
                lines=tuple(f"{word[:1].upper()}{word[1:]}." for word in done.agreed),
                nothing="It stays as it is.",
            ),
            Part(heading="Left to do", lines=tuple(todo), nothing="Nothing."),
        ),
    )
