"""`take-over`: lines of an old doser, compared and taken over one by one.

Floor 8. One subject: who gives a line. Laws here: the old doser's line is off before
ours begins; nothing is taken over that our pump could not give now; giving a line back
only stops ours and needs no condition.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.document import Answer
from slackwater.cli.old_doser import (
    OldLine,
    giver,
    giver_lines,
    old_document,
    old_lines,
    old_names,
    old_rows,
)
from slackwater.cli.opening import (
    Approved,
    approval_at,
    daemon_is_here,
    local_user,
    newest_approval,
    opened,
    write,
)
from slackwater.cli.render import table
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.wording import reason_words
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.stages import LineGivenBack, LineTakenOver
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp

_NONE = (
    "No old doser is named. Declare it as [outside.ID] with `line`, the line of the "
    "plan that takes its place, and approve."
)
_HEADS = ("line, what it adds", ">old doser a day", ">plan a day")


class Said(TypedDict):
    """What a person says with options."""

    line: str | None
    old_is_off: bool
    back: bool
    by: str | None


@verb(
    "take-over",
    epilog="Examples: slackwater take-over; slackwater take-over carbonate; slackwater "
    "take-over carbonate --back. Whoever switches a doser off leaves it unplugged: two "
    "that give the same line are an overdose.",
)
@click.argument("line", required=False)
@click.option("--old-is-off", is_flag=True, help="Its line is switched off for good.")
@click.option("--back", is_flag=True, help="Give the line back to the old doser.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def take_over(shell: Shell, **said: Unpack[Said]) -> Answer:
    """Take lines over from an old doser, one by one.

    Without a line it compares what the old doser gives a day with the plan and with
    what ours gave, or in shadow would have given, in the last 24 hours. With one, ours
    gives it from its next dose on; the old doser's last day still counts against the
    caps until it is over.
    """
    if said["line"] is None:
        return _listed(shell)
    name = said["line"]
    who = typed_text(said["by"] or local_user(), "--by", WORD_AT_MOST)
    if said["back"]:
        return _give_back(shell, name, who)
    _refuse_early(shell, name)
    if not said["old_is_off"]:
        _ask(name)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        line = _taken(state, stamp, name, shell.state)
        return (LineTakenOver(**stamp, line=line, by=who),)

    _state, events = write(shell.state, decide)
    return _over(events, "us", "Ours gives it from its next dose on.")


def _listed(shell: Shell) -> Answer:
    with opened(shell.state) as found:
        approved = approval_at(found.state, found.now.utc)
        approved = approved or newest_approval(found.state)
        lines = [] if approved is None else old_lines(found, approved, shell.state)
        would = found.state.stage != "live"
    text = _page(lines, would=would) if lines else _NONE
    return Answer(fields={"lines": [old_document(one) for one in lines]}, text=text)


def _page(lines: list[OldLine], *, would: bool) -> str:
    ours = ">ours would be in 24 h" if would else ">ours in 24 h"
    return "\n".join((table((*_HEADS, ours), old_rows(lines)), "", *giver_lines(lines)))


def _refuse_early(shell: Shell, name: str) -> None:
    """Refuse before anything is asked.

    Raises: RefusedError, InputError.
    """
    with opened(shell.state) as found:
        _taken(found.state, found.stamp, name, shell.state)


def _ask(name: str) -> None:
    question = f"Is the old doser's line for {name} switched off, for good?"
    if click.confirm(question, err=True):
        return
    raise RefusedError(
        Finding(
            what="the old doser still gives it",
            where="take-over",
            expected="its line switched off first, or both would give it",
            do="Switch it off, then take the line over.",
        )
    )


def _taken(state: State, stamp: Stamp, name: str, state_dir: Path) -> str:
    """The line, when it may be taken over at this moment.

    Raises: InputError for a line no old doser gives, RefusedError with everything that
    keeps ours from giving it.
    """
    approved = approval_at(state, stamp["at"])
    line = _named(approved, name)
    found = list(_hindered(state, approved, line, state_dir))
    if found:
        raise RefusedError(found)
    return line


def _named(approved: Approved | None, name: str) -> str:
    names = [] if approved is None else old_names(approved)
    fitting = [one for one in names if name in (one, one.partition("/")[2])]
    if len(fitting) == 1:
        return fitting[0]
    raise InputError(
        Finding(
            what=f"{name} is not one line of an old doser",
            where="take-over",
            expected=f"one of {', '.join(names)}" if names else _NONE,
            do="See `slackwater take-over`.",
        )
    )


def _hindered(
    state: State, approved: Approved | None, line: str, state_dir: Path
) -> Iterator[Finding]:
    if state.stage != "live":
        yield _finding("pumps are not enabled", "enabled pumps", "slackwater enable")
    elif line not in state.left_to_old:
        yield _finding(f"{line} is ours already", "a line of the old doser", "status")
    if daemon_is_here(state_dir) is False:
        yield _finding("no daemon runs", "a daemon that doses", "slackwater run")
    if approved is None:
        return
    pump = next(
        approved.machine.pumps[one.pump]
        for one in approved.plan.lines
        if f"{one.tank}/{one.id}" == line
    )
    scopes = {"all", f"tank/{pump.tank}", f"pump/{pump.id}", f"node/{pump.node}"}
    for name, hold in sorted(state.holds.items()):
        if hold.scope in scopes:
            what = f"hold {name}: {reason_words(hold.reason)}"
            yield _finding(what, "no hold on its pump", "slackwater release")


def _finding(what: str, expected: str, do: str) -> Finding:
    verb_named = do if do.startswith("slackwater") else f"slackwater {do}"
    return Finding(
        what=what,
        where="take-over",
        expected=expected,
        do=f"Leave the old doser on. See `{verb_named}`.",
    )


def _give_back(shell: Shell, name: str, who: str) -> Answer:
    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        line = _named(approval_at(state, stamp["at"]), name)
        if giver(state, line) == "the old doser":
            _refuse_never(state, line)
            return ()
        return (LineGivenBack(**stamp, line=line, by=who),)

    _state, events = write(shell.state, decide, makes_safer=True)
    return _over(events, "the old doser", "Switch the old doser's line on now.")


def _refuse_never(state: State, line: str) -> None:
    """Refuse to give back what was never ours; said twice it changes nothing.

    Raises: RefusedError.
    """
    if line in state.handed_back:
        return
    raise RefusedError(
        Finding(
            what=f"{line} was never taken over: the old doser gives it",
            where="take-over --back",
            expected="a line that ours gives",
            do="Nothing needs to be done. See `slackwater take-over`.",
        )
    )


def _over(events: Sequence[AnyEvent], giver: str, then: str) -> Answer:
    line = next((str(getattr(one, "line", "")) for one in events), "")
    text = f"{line} is given by {giver}. {then}" if events else "It was so already."
    return Answer(
        fields={"line": line, "given_by": giver, "changed": bool(events)}, text=text
    )
