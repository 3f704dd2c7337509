"""`approve`: a person's consent, on this machine, to exactly one digest.

Floor 8. One subject: the dialogue. Laws here: nothing is approved that a check refuses
or that was not rehearsed with its faults; the highest daily volume is typed by the
person and printed nowhere here; a plan that lets anything grow by much is asked about
again.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypedDict, Unpack

import click

from slackwater.cli.checked import check_files
from slackwater.cli.commands.checking import SHORT_DIGEST, line_words
from slackwater.cli.consent import (
    Consent,
    Proposal,
    beside_withdrawn,
    entries,
    is_highest,
    is_standing,
    proposal_for,
    ratio_words,
)
from slackwater.cli.document import Answer
from slackwater.cli.flow_changes import moved_flows
from slackwater.cli.growth import (
    ask_ratio,
    change_row,
    growth_lines,
    refuse_other_ratio,
)
from slackwater.cli.high_tests import high_tests
from slackwater.cli.in_force import changes_since, growth_bases
from slackwater.cli.measured_places import moved_pumps
from slackwater.cli.opening import (
    Opened,
    approval_at,
    given_last,
    local_user,
    newest_approval,
    opened,
    write,
)
from slackwater.cli.readiness import new_tubes, refuse_unproven
from slackwater.cli.reading import Files, read_files
from slackwater.cli.receipt import (
    ONE_DAY,
    Receipt,
    accepted,
    noted,
    refuse_late,
    refuse_short,
    refuse_undated,
)
from slackwater.cli.render import local, section, table
from slackwater.cli.report.extent import (
    dates_missing,
    dates_words,
    days_to_review,
    refuse_over,
    today_of,
)
from slackwater.cli.runs_fit import unfit_lines
from slackwater.cli.shell import Shell, verb
from slackwater.cli.takeover import swap_for
from slackwater.cli.typed import WORD_AT_MOST, typed_text, typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent, PlanApproved
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.reliable import as_measured
from slackwater.facts.state import State
from slackwater.ledger.codec import timestamp
from slackwater.outside.settings import file_digests
from slackwater.planning.changes import growths
from slackwater.planning.faults import line_faults
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume


class Said(TypedDict):
    """What a person says with options instead of in the dialogue."""

    by: str | None
    at: str | None
    at_once: bool
    highest: str | None
    ratio: str | None


@verb(
    "approve",
    epilog="An approval lets the daemon dose once pumps are enabled. It needs a clean "
    "`slackwater rehearse --faults` of these very files, with the fortnight ahead in "
    "it; read it, for it prints the highest daily volume you are asked for. "
    "Growth is measured from the least of what was in force for a day within the last "
    "seven days, not from what was approved a moment ago: beyond 2 times you are asked "
    "again, beyond 5 times for the ratio itself. "
    "Wear eye protection when you handle stocks; keep children away.",
)
@click.option("--by", metavar="NAME", help="Who approves.  [default: the local user]")
@click.option(
    "--at",
    metavar="TIME",
    help="Take over then.  [default: the next local midnight]",
)
@click.option(
    "--now",
    "at_once",
    is_flag=True,
    help="Take over at once; doses near the swap are left out.",
)
@click.option(
    "--yes-highest-daily",
    "highest",
    metavar="VOLUME",
    help='The highest daily volume of one tank, like "48 mL".',
)
@click.option(
    "--ratio-checked",
    "ratio",
    metavar="R",
    help="The largest growth as the comparison shows it, like 6.5.",
)
def approve(shell: Shell, **said: Unpack[Said]) -> Answer:
    """Consent to exactly this plan.

    Shows the digest, every line and what changes against the plan approved before,
    and asks for the highest daily volume.
    """
    if said["at"] and said["at_once"]:
        raise InputError(_both())
    who = typed_text(said["by"] or local_user(), "--by", WORD_AT_MOST)
    proposal, opening, high = _proposed(shell)
    # What is said wrongly is told, whether it would have been asked for or not.
    if said["highest"] is not None:
        _refuse_other(proposal, said["highest"])
    refuse_other_ratio(proposal, said["ratio"])
    wish = "now" if said["at_once"] else said["at"] or ""
    if is_standing(proposal, opening.state, opening.stamp) and not (
        wish and _is_pending(proposal, opening)
    ):
        return _standing(proposal, opening, high)
    receipt = _read_report(shell, proposal, opening, wish)
    warnings = [*high, *_warnings(proposal, opening.state)]
    shown = "\n".join((_preview(proposal), *(f"Warning: {one}" for one in warnings)))
    click.echo(fitted(shown, error_columns()), err=True)
    ask_ratio(proposal, said["ratio"])
    if said["highest"] is None:
        _ask_highest(proposal)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        running = approval_at(state, stamp["at"])
        swap = swap_for(proposal.files, running, stamp["at"], wish)
        consent = Consent(proposal=proposal, by=who, swap=swap, report=receipt.report)
        return entries(consent, state, stamp)

    _state, events = write(shell.state, decide)
    return _approved(proposal, events, warnings)


def _read_report(
    shell: Shell, proposal: Proposal, opening: Opened, wish: str
) -> Receipt:
    """The note of a report that shows what this plan does from when it takes over on.

    Raises: InputError for a wished time that cannot be, RefusedError for what lacks.
    """
    plan, machine = proposal.files.plan, proposal.files.machine
    utc = opening.now.utc
    swap = swap_for(proposal.files, approval_at(opening.state, utc), utc, wish)
    today = today_of(machine, utc)
    refuse_over(plan, today)
    ledger_id = opening.state.ledger_id
    receipt = accepted(noted(shell.state), proposal.digest, ledger_id)
    begins = max(plan.starts, today_of(machine, swap.at))
    # The day before counts as well: most reports are made on the eve.
    from_day = max(today, begins - ONE_DAY)
    first = max(receipt.first or from_day, from_day)
    refuse_short(receipt, days_to_review(plan, first), today, from_day)
    refuse_late(receipt, begins)
    refuse_undated(dates_missing(plan, today, receipt.span))
    return receipt


def _proposed(shell: Shell) -> tuple[Proposal, Opened, list[str]]:
    """The files, judged, compared and set beside tests; the ledger is closed again.

    Raises: RefusedError with every finding of a check.
    """
    # Taken before the files are read: a change in between shows as a difference.
    sha256 = file_digests(shell.config)
    files = read_files(shell.config)
    checked = check_files(files)
    if checked.findings:
        raise RefusedError(checked.findings)
    with opened(shell.state) as found:
        _refuse_unreliable(files, found.state)
        high = high_tests(found, files.plan, files.machine)
        before = newest_approval(found.state)
        proposal = proposal_for(files, checked.digest, sha256, before)
        ours = files.plan, files.machine
        bases = growth_bases(found)
        proposal = replace(
            proposal,
            growths=growths(bases, ours),
            lasted=tuple(changes_since(bases[0], ours)),
        )
        if before is not None:
            refuse_unproven(found.state, files.plan, before.approval.calibrations)
            flows = moved_flows(found, before, files)
            return replace(proposal, flows=flows), found, high
        return beside_withdrawn(proposal, given_last(found.ledger)), found, high


def _refuse_unreliable(files: Files, state: State) -> None:
    """Refuse doses that calibrations show a pump not to give reliably, or at all."""
    faults = line_faults(files.plan, as_measured(files.machine, state))
    found = list(unfit_lines(files, state))
    told = {one.where for one in found}
    found += [one.finding for one in faults if one.finding.where not in told]
    if found:
        raise RefusedError(found)


def _is_pending(proposal: Proposal, opening: Opened) -> bool:
    """Whether the approval given last has not taken over yet."""
    before = proposal.before
    return before is not None and before.approval.takes_over_at > opening.now.utc


def _warnings(proposal: Proposal, state: State) -> list[str]:
    """Pumps whose calibration says nothing of them as they are now."""
    files = proposal.files
    moved = moved_pumps(state.calibrations, files.plan, files.machine)
    return [
        *(f"{one.where}: {one.what}. {one.do}" for one in moved),
        *new_tubes(state, files.plan),
    ]


def _standing(proposal: Proposal, opening: Opened, high: list[str]) -> Answer:
    before = proposal.before
    serial = before.approval.serial if before else 0
    when = ""
    if before and _is_pending(proposal, opening):
        zone = next(iter(proposal.files.machine.tanks.values())).zone
        at = local(before.approval.takes_over_at, zone)
        when = f" It takes over at {at}; --now or --at TIME changes that."
    warnings = [*high, *_warnings(proposal, opening.state)]
    told = "".join(f"\nWarning: {one}" for one in warnings)
    return Answer(
        fields={
            "approved": False,
            "serial": serial,
            "digest": proposal.digest,
            "warnings": warnings,
        },
        text=f"Approval {serial} says exactly this already; nothing was changed.{when}"
        f"{told}",
    )


def _preview(proposal: Proposal) -> str:
    plan, machine = proposal.files.plan, proposal.files.machine
    rows = [
        (
            f"{line.tank}/{line.id}",
            show_volume(line.per_day_ul),
            _days(line, plan),
            line_words(line, machine),
        )
        for line in plan.lines
    ]
    heads = ("line", ">on a dosing day", "days", "adds to the water")
    short = proposal.digest[:SHORT_DIGEST]
    head = f'Plan "{plan.name}" from {plan.starts}, digest {short}.\n'
    parts = [head, section("Every line", table(heads, rows))]
    if proposal.before is not None or proposal.changes:
        parts.append(section("What changes", _change_table(proposal)))
    parts += growth_lines(proposal)
    parts += [
        f"Pump {pump} is not the one approved before: {', '.join(why)}."
        for pump, why in proposal.touched.items()
    ]
    return "\n".join(parts)


def _days(line: PlanLine, plan: Plan) -> str:
    """On which days, and from when to when where it has dates of its own."""
    told = "every day" if line.every_days == 1 else f"every {line.every_days} days"
    told = " ".join(line.weekdays) or told
    if line.first_day is None and line.last_day is None:
        return told
    return f"{told}, {dates_words(line, plan)}"


def _change_table(proposal: Proposal) -> str:
    if not proposal.changes:
        return "No pump and no parameter has another largest day."
    machine = proposal.files.machine
    rows = [change_row(change, machine) for change in proposal.changes]
    return table(("largest day of", ">before", ">after", ">ratio"), rows)


def _ask_highest(proposal: Proposal) -> None:
    """Let a person type the highest daily volume.

    Raises: InputError when it cannot be read, RefusedError when it is another.
    """
    question = "Highest daily volume of one tank, all its pumps together"
    _refuse_other(proposal, str(click.prompt(question, err=True)).strip())


def _refuse_other(proposal: Proposal, text: str) -> None:
    if is_highest(proposal.files, typed_ul(text, "--yes-highest-daily")):
        return
    raise RefusedError(
        Finding(
            what=f"{text} is not the highest daily volume of this plan",
            where="--yes-highest-daily",
            expected="the figure that a rehearsal of these files prints",
            do="Run `slackwater rehearse --faults`, read it, and approve again.",
        )
    )


def _approved(
    proposal: Proposal, events: Sequence[AnyEvent], warnings: list[str]
) -> Answer:
    event = next(one for one in events if isinstance(one, PlanApproved))
    approval = event.approval
    zone = next(iter(proposal.files.machine.tanks.values())).zone
    until = approval.left_out_until
    held = [one.scope for one in events if one.kind == "hold_raised"]
    halved = [one.scope for one in events if one.kind == "half_began"]
    left_out = f"Doses due before {local(until, zone)} are left out.\n" if until else ""
    grace = ""
    if approval.ends_at > approval.expires_at:
        grace = f", then upkeep alone until {local(approval.ends_at, zone)}"
    holds = f"Held until a person releases them: {', '.join(held)}.\n" if held else ""
    halves = f"Half doses for a day: {', '.join(halved)}.\n" if halved else ""
    return Answer(
        fields={
            "approved": True,
            "serial": approval.serial,
            "digest": approval.digest,
            "report": event.report,
            "takes_over_at": timestamp(approval.takes_over_at),
            "expires_at": timestamp(approval.expires_at),
            "ends_at": timestamp(approval.ends_at),
            "left_out_until": timestamp(until) if until else None,
            "ratio": ratio_words(proposal.ratio),
            "held": held,
            "halved": halved,
            "warnings": warnings,
        },
        text=(
            f"Approved as {approval.serial} by {approval.by}, digest "
            f"{approval.digest[:SHORT_DIGEST]}.\n"
            f"Takes over at {local(approval.takes_over_at, zone)}, good until "
            f"{local(approval.expires_at, zone)}{grace}.\n{left_out}{holds}{halves}"
        ),
    )


def _both() -> Finding:
    return Finding(
        what="--at and --now are both given",
        where="approve",
        expected="one of them, or neither",
        do="Take one out.",
    )
