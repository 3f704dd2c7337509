"""`visit`: a round at one tank, from the pause to the report.

Floor 8. One subject: the order of a visit. Laws here: each step is the verb that takes
it alone, with its own checks; a visit that was broken off goes on where it was left,
and nothing is recorded twice; the pause ends by itself whatever becomes of the visit.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from pathlib import Path
from secrets import token_hex
from typing import TypedDict, Unpack

import click

from slackwater.cli.commands.approving import approve
from slackwater.cli.commands.calibrating import calibrate
from slackwater.cli.commands.filling import refill
from slackwater.cli.commands.proposing import propose
from slackwater.cli.commands.recording import record
from slackwater.cli.commands.rehearsing import rehearse
from slackwater.cli.described import described, tanks_of
from slackwater.cli.document import FINE, Answer, finding_text
from slackwater.cli.measuring import About, jumps, near_tests, read_tests
from slackwater.cli.opening import (
    daemon_is_here,
    local_user,
    only,
    opened,
    write,
)
from slackwater.cli.render import local, span
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import subject_of
from slackwater.cli.tasks import CALIBRATE, chores_due
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.typed_levels import settled
from slackwater.cli.visit_report import NOT_APPROVED, Done, visit_report
from slackwater.cli.visit_talk import Dialogue, Script, Talk, say, script_in
from slackwater.cli.visiting import MEASURING, PREFIX, Visit, visit_of
from slackwater.errors import Finding, InputError, RefusedError, SlackwaterError
from slackwater.facts.alarms import AlarmChanged, Cause, alarm_id
from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.inventory import left_ul
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.outside.settings.documents import PLAN_FILE
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

LEAST_MINUTES, USUAL_MINUTES, MOST_MINUTES = 5, 60, 240


class Asked(TypedDict):
    """What is said of a visit."""

    tank: str | None
    minutes: int
    answers: Path | None
    html: Path | None
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Round:
    """One call of the verb: where, whom, by whom, and who answers."""

    shell: Shell
    tank: str
    by: str
    talk: Talk
    context: click.Context


@verb(
    "visit",
    epilog="Broken off, it goes on where it was left when it is called again within 12 "
    "hours; the pause ends by itself. A file of answers is JSON with any of tests, "
    "method, refills, measure (pumps to be measured), propose and highest_daily; what "
    "it leaves out is left out. Example: slackwater visit --tank reef --by keeper. Eye "
    "protection when you handle stock solutions; never mix them.",
)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
@click.option(
    "--minutes",
    type=click.IntRange(LEAST_MINUTES, MOST_MINUTES),
    metavar="N",
    default=USUAL_MINUTES,
    show_default=True,
    help="How long the pause lasts at most.",
)
@click.option(
    "--answers",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Take the answers from a JSON file instead of asking.",
)
@click.option(
    "--html",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the report as a page as well.",
)
@click.option("--by", metavar="NAME", help="Who visits.  [default: the local user]")
def visit(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """Go through a visit, step by step.

    Pauses the doses of a tank, asks for tests and refills, calibrates the pumps that
    are due, proposes a plan, rehearses and approves it once, and ends with a report of
    one page. Each step can be left out; a pump is measured while no daemon runs.
    """
    talk: Talk = Dialogue() if asked["answers"] is None else script_in(asked["answers"])
    tank, machine = _tank(shell, asked["tank"])
    if isinstance(talk, Script):
        _refuse_strange(talk, machine, tank)
    going = _Round(
        shell=shell,
        tank=tank,
        by=typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST),
        talk=talk,
        context=click.get_current_context(),
    )
    visited = _begin(going, asked["minutes"])
    try:
        _test(going, visited)
        _refill(going, machine, visited)
        _measure(going, visited, asked["minutes"])
        agreed = list(_agree(going))
    except click.Abort as error:
        # The question still stands on the line.
        click.echo(err=True)
        raise _broken_off(going, machine, visited.hold.hold_id) from error
    # With the visit ends what is left of the pause.
    _lift(going, visited.hold.hold_id, "visit ended")
    done = Done(tank=tank, by=going.by, visit=visited, agreed=tuple(agreed))
    return visit_report(shell, done, asked["html"])


def _tank(shell: Shell, named: str | None) -> tuple[str, Machine]:
    with opened(shell.state) as found:
        machine = described(shell, found.state)
        names = tanks_of(found.state, machine, named)
    if machine is not None and len(names) == 1 and names[0] in machine.tanks:
        return names[0], machine
    known = ", ".join(names) or "none is described"
    raise InputError(
        Finding(
            what="which tank is visited is not said",
            where="visit, --tank",
            expected=f"one of {known}",
            do="Name it with --tank; nothing was written.",
        )
    )


def _refuse_strange(talk: Script, machine: Machine, tank: str) -> None:
    """Refuse answers on reservoirs and pumps that this tank does not have."""
    known = {
        ("refills", "reservoir"): (talk.named(), _reservoirs(machine, tank)),
        ("measure", "pump"): (talk.measured(), _pumps(machine, tank)),
    }
    for (key, word), (named, there) in known.items():
        strange = [name for name in named if name not in there]
        if strange:
            raise InputError(
                Finding(
                    what=f'no {word} of {tank} is "{strange[0][:40]}"',
                    where=f"visit, answers, {key}",
                    expected=f"one of {', '.join(there)}",
                    do="Correct it; nothing was written.",
                )
            )


def _pumps(machine: Machine, tank: str) -> list[str]:
    return sorted(name for name, pump in machine.pumps.items() if pump.tank == tank)


def _reservoirs(machine: Machine, tank: str) -> list[str]:
    pumps = machine.pumps.values()
    return sorted({pump.reservoir for pump in pumps if pump.tank == tank})


def _begin(going: _Round, minutes: int) -> Visit:
    """Go on with a visit that was broken off, or pause the tank for a new one."""
    with opened(going.shell.state) as found:
        known, now = visit_of(found.ledger, going.tank, found.now.utc), found.now.utc
        holds = found.state.holds
    if known is not None:
        ago = span(now - known.hold.at)
        say(f"Going on with the visit that {known.hold.by} began {ago} ago.")
        standing = holds.get(known.hold.hold_id)
        if standing is not None and now < (standing.until or now):
            return known
    hold_id = f"{PREFIX}{token_hex(3)}" if known is None else known.hold.hold_id
    begun = _pause(going, hold_id, minutes)
    say(f"Doses of {going.tank} pause for {minutes} minutes at most.")
    return Visit(hold=begun) if known is None else known


def _pause(going: _Round, hold_id: str, minutes: int) -> HoldRaised:
    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        return [
            HoldRaised(
                **stamp,
                hold_id=hold_id,
                scope=f"tank/{going.tank}",
                reason=because(Code.PAUSE),
                latched=False,
                until=stamp["at"] + timedelta(minutes=minutes),
                by=going.by,
                note="visit",
            )
        ]

    _state, written = write(going.shell.state, decide, makes_safer=True)
    return only(written, HoldRaised)


def _test(going: _Round, visited: Visit) -> None:
    done = ", ".join(sorted(visited.tested))
    asked = f"Tested in this visit already: {done}." if done else ""

    def step() -> None:
        words = [
            word
            for word in going.talk.tests(asked, partial(_judge, going))
            if word.partition("=")[0].strip() not in visited.tested
        ]
        if words:
            going.context.invoke(
                record,
                values=tuple(words),
                tank=going.tank,
                by=going.by,
                method=going.talk.method(),
            )

    going.talk.again(step)


def _judge(going: _Round, words: Sequence[str]) -> None:
    """Refuse tests that could not be recorded; nothing is written."""
    with opened(going.shell.state) as found:
        subject = subject_of(going.shell, found.state, going.tank)
        near = near_tests(found.ledger, going.tank, found.stamp["at"])
        about = About(by=going.by)
        # Tests of the same kit are compared once the kit was told.
        settled(jumps(near, read_tests(words, subject, about, found.stamp)))


def _refill(going: _Round, machine: Machine, visited: Visit) -> None:
    with opened(going.shell.state) as found:
        left = {
            name: left_ul(machine, found.state, name)
            for name in _reservoirs(machine, going.tank)
        }
    for name, volume_ul in left.items():
        if name not in visited.refilled:
            going.talk.again(_filling(going, name, volume_ul))


def _filling(going: _Round, name: str, volume_ul: int) -> Callable[[], None]:
    def step() -> None:
        told = f"{name}: {show_volume(volume_ul)} left by the books."
        content = going.talk.refill(name, told)
        if content:
            going.context.invoke(refill, reservoir=name, content=content, by=going.by)

    return step


def _measure(going: _Round, visited: Visit, minutes: int) -> None:
    """Measure what is due, one pump after the other, and once more where it failed."""
    with opened(going.shell.state) as found:
        machine = described(going.shell, found.state)
        due = chores_due(found.state, found.now.utc, machine)
    own = [one.task for one in due if one.task.tank == going.tank]
    for task in own:
        say(task.text)
    names = [task.task.removeprefix(CALIBRATE) for task in own]
    names += going.talk.measured() if isinstance(going.talk, Script) else ()
    known = () if machine is None else _pumps(machine, going.tank)
    for pump in dict.fromkeys(name for name in names if name in known):
        again = False
        while going.talk.wants_measured(pump, again=again):
            if _is_measured(going, visited, pump, minutes):
                break
            again = True


def _is_measured(going: _Round, visited: Visit, pump: str, minutes: int) -> bool:
    """Calibrate, with the pause lifted: without a daemon nothing else can run."""
    hold_id = visited.hold.hold_id
    if daemon_is_here(going.shell.state) is False:
        _lift(going, hold_id, MEASURING)
    try:
        told = going.context.invoke(calibrate, pump=pump, by=going.by)
    except SlackwaterError as error:
        # The visit goes on: tests and refills do not wait for a pump.
        for finding in error.findings:
            say(finding_text(finding))
        return False
    finally:
        with opened(going.shell.state) as found:
            is_lifted = hold_id not in found.state.holds
        if is_lifted:
            _pause(going, hold_id, minutes)
    say(told.text)
    return True


def _agree(going: _Round) -> Iterator[str]:
    """One proposal, one rehearsal, one approval; what of it was done."""
    if going.talk.wants_proposal():
        path = going.shell.config / PLAN_FILE
        told = going.context.invoke(propose, tank=going.tank, write=path, replace=True)
        say(told.text)
        yield "proposed" if told.exit_code == FINE else "proposed, and refused"
    if not going.talk.wants_approval():
        return
    told = going.context.invoke(rehearse, faults=True)
    say(told.text)
    yield "rehearsed" if told.exit_code == FINE else "rehearsed, with findings"
    try:
        told = going.context.invoke(approve, by=going.by, highest=going.talk.highest())
    except RefusedError as error:
        # The visit goes on to its end: the water waits for no second plan.
        yield f"{NOT_APPROVED}{error.findings[0].what}"
        return
    say(told.text)
    yield "approved" if told.fields.get("approved") else "approved before"


def _broken_off(going: _Round, machine: Machine, hold_id: str) -> InputError:
    """What stands of a visit whose questions were not answered to the end."""
    with opened(going.shell.state) as found:
        hold, now = found.state.holds.get(hold_id), found.now.utc
    pause = ""
    if hold is not None and hold.until is not None and now < hold.until:
        until = local(hold.until, machine.tanks[going.tank].zone)
        pause = (
            f" The pause of {going.tank} stands until {until}; "
            f"`slackwater release {hold_id}` ends pause and visit."
        )
    return InputError(
        Finding(
            what="the visit was broken off",
            where="standard input",
            expected="an answer to each question",
            do="What was recorded before stays. Call `slackwater visit` again to go on."
            + pause,
        )
    )


def _lift(going: _Round, hold_id: str, why: str) -> None:
    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        over = [HoldReleased(**stamp, hold_id=hold_id, by=going.by, why=why)]
        return [*over, *_returned(state, going, hold_id, stamp)]

    write(going.shell.state, decide)


def _returned(
    state: State, going: _Round, hold_id: str, stamp: Stamp
) -> Iterator[AlarmChanged]:
    """The end of the alarm of a pause: where no daemon runs nobody else would say so.

    Another pause keeps it; which tanks that one holds, the daemon judges.
    """
    name = alarm_id(Cause.PAUSED, going.tank)
    known = state.alarms.get(name)
    others = (one for key, one in state.holds.items() if key != hold_id)
    is_paused = any(one.reason.code is Code.PAUSE for one in others)
    if known is not None and known.is_standing and not is_paused:
        yield AlarmChanged(**stamp, alarm=name, to="returned", by=going.by)
