"""`first-aid`: what to do first, to read on a screen or to print.

Floor 8. One subject: first-aid texts. Laws here: it needs no configuration, no ledger
and no network; whoever asks for help with the verb reads the texts themselves.
"""

from collections.abc import Iterator
from textwrap import wrap

import click

from slackwater.cli.document import Answer
from slackwater.cli.shell import Shell, verb
from slackwater.cli.width import within
from slackwater.facts.first_aid import FIRST_AID

_WIDTH = 78
_TOPICS = tuple(FIRST_AID)


_PRINT_IT = (
    "Print it and hang it beside the tank: slackwater first-aid | lpr. It advises; a "
    "person decides. Common practice, no source."
)


def _title(topic: str) -> str:
    return topic.replace("-", " ").upper()


def _epilog() -> str:
    """All the texts, a paragraph a step."""
    parts = [_PRINT_IT]
    for topic, steps in FIRST_AID.items():
        parts.append(_title(topic))
        parts += (f"{number}. {step}" for number, step in enumerate(steps, start=1))
    return "\n\n".join(parts)


@verb("first-aid", epilog=_epilog())
@click.argument("topic", required=False, type=click.Choice(_TOPICS))
def first_aid(shell: Shell, topic: str | None) -> Answer:
    """Say what to do first when something went wrong.

    After an overdose, a white cloud or a power cut.
    """
    del shell
    chosen = (topic,) if topic else _TOPICS
    return Answer(
        fields={"topics": {name: list(FIRST_AID[name]) for name in chosen}},
        text="\n".join(line for name in chosen for line in _page(name)),
    )


def _page(topic: str) -> Iterator[str]:
    yield _title(topic)
    for number, step in enumerate(FIRST_AID[topic], start=1):
        yield from wrap(
            step, within(_WIDTH), initial_indent=f"{number}. ", subsequent_indent="   "
        )
    yield ""
