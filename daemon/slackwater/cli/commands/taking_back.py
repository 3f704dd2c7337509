"""`take-back`: what was asked for by hand is not wanted any more.

Floor 8. One subject: ending the wait of a request. Laws here: the order of the ledger
decides between a person who takes back and a daemon that begins, so that one of the two
is written and never both; neither a hold nor a clock nor a missing daemon keeps anybody
from it; what was begun is told with what it did.
"""

from collections.abc import Sequence

import click

from slackwater.cli.asked_by_hand import waiting
from slackwater.cli.document import Answer
from slackwater.cli.dose_story import Story, amount_words, story_of
from slackwater.cli.opening import local_user, newest_approval, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.doses import RequestTakenBack
from slackwater.facts.events import ShotRequested
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

# A dose of a plan is `tank/line@local-date#ordinal`; a request has none of these.
PLAN_MARKS = ("@", "#", "/")
# What may still flow, as far as anybody knows.
OPEN_WORDS = ("intended", "handed", "refused", "taken")


@verb(
    "take-back",
    epilog="It is written down at once, with or without a daemon, whatever is held and "
    "whatever the clock says. Exit code 1 when nothing waits any more. Examples: "
    "slackwater take-back hand-0f3c9a77e21b46d8; slackwater take-back carbonate "
    "--reason 'the second test was fine'",
)
@click.argument("name", metavar="REQUEST|PUMP")
@click.option("--reason", default="", metavar="TEXT", help="Why, for the record.")
@click.option(
    "--by", metavar="NAME", help="Who takes it back.  [default: the local user]"
)
def take_back(shell: Shell, name: str, reason: str, by: str | None) -> Answer:
    """Take back what was asked for by hand and still waits.

    A dose, or what fills or rinses a hose, is then never given; with the name of a
    pump, all that waits of it. What was begun is told with what it did.
    """
    why = typed_text(reason, "--reason")
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)

    def decide(state: State, stamp: Stamp) -> Sequence[RequestTakenBack]:
        return taken_back(state, stamp, name, (who, why))

    state, events = write(shell.state, decide, makes_safer=True)
    ended = [one for one in events if isinstance(one, RequestTakenBack)]
    return _told(ended) if ended else _waits_no_more(shell, state, name)


def taken_back(
    state: State, stamp: Stamp, name: str, said: tuple[str, str]
) -> tuple[RequestTakenBack, ...]:
    """An entry for each request that waits and has this name, or is of this pump.

    Shape: `said` are who takes it back and why; none where nothing waits.
    """
    who, why = said
    return tuple(
        RequestTakenBack(
            **stamp,
            request=one.request,
            pump=one.pump,
            volume_ul=one.volume_ul,
            by=who,
            why=why,
        )
        for one in waiting(state)
        if name in (one.request, one.pump)
    )


def _told(ended: Sequence[RequestTakenBack]) -> Answer:
    lines = [
        f"Taken back: {show_volume(one.volume_ul)} of {one.pump} ({one.request})."
        for one in ended
    ]
    return Answer(
        fields={
            "taken_back": [
                {"request": one.request, "pump": one.pump, "volume_ul": one.volume_ul}
                for one in ended
            ]
        },
        text="\n".join((*lines, "Nothing of it was given, and nothing will be.")),
    )


def _waits_no_more(shell: Shell, state: State, name: str) -> Answer:
    """What became of it where nothing waits; fine where it was taken back before.

    Raises: RefusedError for what was begun or missed, InputError for another name.
    """
    if any(mark in name for mark in PLAN_MARKS):
        raise InputError(_of_the_plan(name))
    story = story_of(shell.state, name)
    if story is None:
        raise _unknown(shell, state, name)
    if story.life.word != "taken_back":
        raise RefusedError(_begun(story))
    return Answer(
        fields={"taken_back": []},
        text=f"{name} was taken back before: nothing of it is given.",
    )


def _unknown(shell: Shell, state: State, name: str) -> RefusedError | InputError:
    """Of a pump nothing waits, and the newest run says why; another name is a slip."""
    newest = state.by_hand.get(name)
    story = None if newest is None else story_of(shell.state, newest.request)
    if story is not None:
        return RefusedError(_begun(story))
    approved = newest_approval(state)
    if newest is not None or (approved and name in approved.machine.pumps):
        return RefusedError(_nothing_of(name))
    return InputError(_no_request(name, waiting(state)))


def _begun(story: Story) -> Finding:
    life = story.life
    told = f"`slackwater why {life.dose}` tells the whole of it."
    if life.word in OPEN_WORDS:
        told = f"`slackwater hold --scope pump/{life.pump}` stops what runs. {told}"
    return Finding(
        what=f"{life.dose} waits no more: {story.word}; {amount_words(life)}",
        where="take-back",
        expected="a request that nobody has begun and whose time is not over",
        do=f"Nothing was taken back. {told}",
    )


def _nothing_of(pump: str) -> Finding:
    return Finding(
        what=f"nothing that was asked for by hand waits for {pump}",
        where="take-back",
        expected="a pump of which something waits",
        do="Nothing was taken back. See `slackwater status` for what waits.",
    )


def _of_the_plan(name: str) -> Finding:
    return Finding(
        what=f"{name} is a dose of the plan: nobody asked for it by hand",
        where="take-back",
        expected="a request as `slackwater dose` named it, or a pump",
        do="Nothing was taken back. `slackwater hold` keeps doses of the plan from "
        "being given, a request over MQTT skips one of them.",
    )


def _no_request(name: str, known: Sequence[ShotRequested]) -> Finding:
    names = ", ".join(f"{one.request} ({one.pump})" for one in known)
    return Finding(
        what=f'nothing that was asked for by hand is called "{name}"',
        where="take-back",
        expected=names or "a request as `slackwater dose` named it; none waits now",
        do="Nothing was taken back. `slackwater ledger` lists what was asked for.",
    )
