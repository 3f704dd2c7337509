"""`propose`: a plan that the water asks for, with a reason for every line.

Floor 8. One subject: proposing and writing the proposal down. Laws here: nothing runs
from a proposal; a file is only written where asked, whole, and what stood there is
kept; lines are accepted singly, those of one group together.
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Literal, TypedDict, Unpack
from zoneinfo import ZoneInfo

import click

from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.proposal import Asked
from slackwater.assessment.records import Assessment
from slackwater.assessment.stating import (
    caps_to_state,
    uptakes_apart,
    uptakes_to_state,
)
from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.opening import Opened, approval_at, newest_approval, opened
from slackwater.cli.pasting import paste_lines, paste_words
from slackwater.cli.plan_text import plan_text
from slackwater.cli.proposal_text import (
    comments_of,
    proposal_document,
    proposal_text,
    wrapped,
)
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import only_tank
from slackwater.cli.uptake_words import apart_words
from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.reliable import as_measured
from slackwater.facts.tank import Machine
from slackwater.outside.settings import read_machine, read_plan
from slackwater.outside.settings.documents import PLAN_FILE
from slackwater.planning.daily import added_by_pumps
from slackwater.planning.timetable import Timetable
from slackwater.service.assessing import LookBack, assessed
from slackwater.service.proposing import Fitted, propose_fitting

KEPT_SUFFIX = ".before"
# Tests of today say nothing of a water further ahead: common practice, no source.
AHEAD_AT_MOST = timedelta(days=60)
ONE_DAY = timedelta(days=1)
Compared = Literal["in force", "approved for later", "not approved", "none"]


class Wishes(TypedDict):
    """What a person may ask for."""

    tank: str | None
    accept: tuple[str, ...]
    write: Path | None
    replace: bool
    first: datetime | None


@verb(
    "propose",
    epilog="Nothing runs from a proposal: write it to a file, read and change it, then "
    "check, rehearse and approve it as any other plan. Example: slackwater propose "
    "--accept carbonate --write plan-next.toml. Stock solutions can burn skin and "
    "eyes: wear eye protection, and never mix them.",
)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
@click.option(
    "--accept",
    multiple=True,
    metavar="PUMP",
    help="Take the change of this pump only; may be repeated.  [default: all]",
)
@click.option(
    "--write",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the plan there, each line with its grounds.",
)
@click.option(
    "--replace",
    is_flag=True,
    help="Write over a file that stands there; it is kept as FILE.before.",
)
@click.option(
    "--from",
    "first",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="First local day of what changes.  [default: tomorrow, "
    "or the plan's start where that is later]",
)
def propose(shell: Shell, **wishes: Unpack[Wishes]) -> Answer:
    """Propose a plan from what is known of the water.

    Says when the best action is none. Exit code 1 when the plan would still be refused,
    or when nothing at all is to be dosed.
    """
    machine = read_machine(shell.config)
    tank = only_tank(machine, wishes["tank"])
    with opened(shell.state) as found:
        made = proposed(found, shell, machine, wishes, tank)
    fitted, missing = made.fitted, made.missing
    # A plan without a line can be neither checked nor approved.
    path = wishes["write"] if fitted.proposal.plan.lines else None
    if path is not None:
        text = plan_text(fitted.proposal.plan, comments_of(fitted.proposal))
        _write(path, text, replace=wishes["replace"])
    told = proposal_text(fitted.proposal, fitted.findings, missing)
    return Answer(
        fields={
            **proposal_document(fitted.proposal, fitted.findings),
            "missing": list(missing),
            "uptakes_apart": list(made.apart),
            "compared_with": made.compared_with,
            "paste": made.paste,
            "file": str(path) if path else None,
        },
        text="\n".join(
            (
                told,
                *(line for one in made.apart for line in wrapped(f"{one}.")),
                *paste_words(made.paste),
                *_compared(made),
                _next_step(made, path),
            )
        ),
        exit_code=REFUSED if fitted.findings or made.ends_all else 0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """A proposal; `missing` tests would make it surer, `paste` are lines for the file.

    `apart` says where tests and the file contradict each other about an uptake.
    `begins` is the first local day of what changes; `gap` whether a plan that flows
    would end before, were this one approved as usual. `waiting` is an approval that
    takes over later, which this proposal does not build on.
    """

    fitted: Fitted
    missing: tuple[str, ...]
    paste: list[str]
    apart: tuple[str, ...]
    compared_with: Compared
    begins: date
    gap: bool = False
    waiting: Approval | None = None

    @property
    def ends_all(self) -> bool:
        """Whether not a line is left of a plan that had some."""
        proposal = self.fitted.proposal
        return not proposal.plan.lines and not proposal.is_none


def proposed(
    found: Opened, shell: Shell, machine: Machine, wishes: Wishes, tank: str
) -> Proposed:
    """The proposal for a tank from its ledger.

    Raises: InputError for a pump that cannot be accepted by itself; ledger errors.
    """
    now, machine = found.now.utc, as_measured(machine, found.state)
    gone = found.state.taken_over
    assessment = assessed(found.ledger, machine, tank, now, LookBack.of(found.state))
    plan, compared_with = present_plan(found, shell, machine)
    eve = _eve(machine, tank, now, wishes["first"])
    if plan is not None and wishes["first"] is None:
        # Nobody wants a plan to begin before its own start.
        eve = max(eve, plan.starts - timedelta(days=1))
    # What an old doser gives is given by the plan, now or from the take-over on.
    ours = {*gone, *(plan.names if plan else ())}
    asked = Asked(
        machine=machine.handed_over(ours),
        tank=tank,
        plan=plan,
        runs=compared_with == "in force",
        evidence=evidence_of(assessment, machine.tanks[tank]),
        today=eve,
        only=_accepted(machine, tank, wishes["accept"]),
        begins=_begins(machine, plan, now, eve)
        if eve == _today(machine, tank, now)
        else None,
    )
    fitted = propose_fitting(asked)
    due = (one for one in assessment.missing if one.due_on <= asked.today)
    return Proposed(
        fitted=fitted,
        missing=tuple(one.text for one in due),
        paste=_paste(fitted, assessment, machine),
        apart=_apart(fitted, assessment, machine),
        compared_with=compared_with,
        begins=asked.today + ONE_DAY,
        gap=_leaves_gap(fitted, compared_with, _today(machine, tank, now)),
        waiting=_waiting(found),
    )


def _leaves_gap(fitted: Fitted, compared_with: Compared, today: date) -> bool:
    """Whether a pump would rest between the next midnight and the plan's first day."""
    plan, begins = fitted.proposal.plan, dict[str, date]()
    for line in plan.lines:
        if (line.tank, line.purpose) == (fitted.proposal.tank, "maintenance"):
            first = max(line.first_day or plan.starts, plan.starts)
            begins[line.pump] = min(begins.get(line.pump, first), first)
    late = any(first > today + ONE_DAY for first in begins.values())
    return late and compared_with == "in force"


def _waiting(found: Opened) -> Approval | None:
    """An approval that takes over later, beside one that is in force."""
    now, later = approval_at(found.state, found.now.utc), newest_approval(found.state)
    if now is None or later is None or later.approval == now.approval:
        return None
    return later.approval


def present_plan(
    found: Opened, shell: Shell, machine: Machine
) -> tuple[Plan | None, Compared]:
    """The plan in force, else the one approved for later, else that of the file."""
    now, later = approval_at(found.state, found.now.utc), newest_approval(found.state)
    if now is not None:
        return now.plan, "in force"
    if later is not None:
        return later.plan, "approved for later"
    if not (shell.config / PLAN_FILE).exists():
        return None, "none"
    return read_plan(shell.config, machine), "not approved"


def _paste(fitted: Fitted, assessment: Assessment, machine: Machine) -> list[str]:
    tank = machine.tanks[fitted.proposal.tank]
    return paste_lines(
        tank.id,
        uptakes_to_state(assessment, tank),
        caps_to_state(fitted.proposal, assessment, machine),
    )


def _apart(fitted: Fitted, found: Assessment, machine: Machine) -> tuple[str, ...]:
    """Uptakes that the file states otherwise, beside what the proposed plan gives."""
    tank, plan = machine.tanks[fitted.proposal.tank], fitted.proposal.plan
    added: dict[tuple[str, str], int] = {}
    if not fitted.findings and plan.lines:
        added = added_by_pumps(Timetable(plan, machine))
    return tuple(apart_words(uptakes_apart(found, tank), tank, added))


def _accepted(
    machine: Machine, tank: str, accept: Sequence[str]
) -> frozenset[str] | None:
    pumps = sorted(one.id for one in machine.pumps.values() if one.tank == tank)
    for name in accept:
        if name not in pumps:
            raise InputError(
                Finding(
                    what=f"{name!r} is no pump of {tank}",
                    where="--accept",
                    expected=f"one of {', '.join(pumps)}",
                    do="Name a pump as the configuration does.",
                )
            )
    return frozenset(accept) if accept else None


def _today(machine: Machine, tank: str, utc: datetime) -> date:
    return utc.astimezone(ZoneInfo(machine.tanks[tank].zone)).date()


def _begins(machine: Machine, plan: Plan | None, utc: datetime, mine: date) -> date:
    """Tomorrow by the clock that is furthest behind, where tomorrow it is to begin.

    A tank whose date is the day before would be left a day without any dose.
    """
    tanks = {line.tank for line in plan.lines} if plan else set()
    return min([mine, *(_today(machine, one, utc) for one in tanks)]) + ONE_DAY


def _eve(machine: Machine, tank: str, utc: datetime, first: datetime | None) -> date:
    """The local day before the first one that changes.

    Raises: InputError when that lies in the past, or too far ahead.
    """
    today = _today(machine, tank, utc)
    if first is None:
        return today
    if first.date() < today:
        raise InputError(
            Finding(
                what=f"{first.date()} is over",
                where="--from",
                expected=f"{today} or a later day",
                do="Nothing is dosed in the past; leave it out for tomorrow.",
            )
        )
    if first.date() > today + AHEAD_AT_MOST:
        raise InputError(
            Finding(
                what=f"{first.date()} is too far ahead",
                where="--from",
                expected=f"a day until {today + AHEAD_AT_MOST}",
                do="Test again nearer to the day, and propose then.",
            )
        )
    return first.date() - ONE_DAY


def _write(path: Path, text: str, *, replace: bool) -> None:
    """Write a file whole or not at all.

    Raises: InputError when something stands there or cannot be written.
    """
    if path.exists() and not replace:
        raise InputError(
            Finding(
                what="something stands there already",
                where=str(path),
                expected="a new file name",
                do="Choose another name, or give --replace: the present file is then "
                f"kept with {KEPT_SUFFIX} behind its name.",
            )
        )
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8")
        if path.exists():
            path.with_name(path.name + KEPT_SUFFIX).write_bytes(path.read_bytes())
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        raise InputError(
            Finding(
                what=f"it cannot be written: {error.strerror}",
                where=str(path),
                expected="a place for a file",
                do="Choose another place, or mend its permissions.",
            )
        ) from error


def _compared(made: Proposed) -> Iterator[str]:
    """Where what is there does not flow yet, what the steps begin from."""
    if made.compared_with in {"not approved", "approved for later"}:
        yield f"Compared with a plan that is {made.compared_with}: nothing flows by it"
        yield "yet, so that steps begin from nothing."
    if made.waiting is not None:
        at = f"{made.waiting.takes_over_at:%Y-%m-%d %H:%M} UTC"
        yield f"Approval {made.waiting.serial} takes over at {at}; this proposal does"
        yield "not build on it, and approving this one withdraws it."


def _instead(made: Proposed) -> Iterator[str]:
    """What is done in the place of a plan that would have no line."""
    yield "Nothing is to be dosed, and a plan without a line cannot be approved, so"
    yield "none was written. Mend what is told above, then propose again."
    if made.compared_with == "in force":
        yield "Until then the approved plan goes on, unless you stop it:"
        yield f"  slackwater hold --scope tank/{made.fitted.proposal.tank}"


def _next_step(made: Proposed, path: Path | None) -> str:
    if made.ends_all:
        return "\n".join(_instead(made))
    if not made.fitted.proposal.plan.lines:
        return "There is no line to write yet."
    # Taken over tonight, it would leave the days before its own without a dose.
    at = f" --at {made.begins}T00:00" if made.gap else ""
    if path is None:
        how = f"`slackwater approve{at}`" if at else "approve"
        return f"Write it with --write FILE, read it, then check, rehearse and {how}."
    if path.name != PLAN_FILE:
        return (
            f"Written: {path}. Read it; it counts once it is {PLAN_FILE} and approved."
        )
    return (
        f"Written: {path}. Read it, then:\n"
        "  slackwater check\n"
        f"  slackwater rehearse --faults --from {made.begins}\n"
        f"  slackwater approve{at}"
    )
