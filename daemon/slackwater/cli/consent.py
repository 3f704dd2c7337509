"""What a person consents to, and the entries that record it.

Floor 8. One subject: one approval, from comparison to entries. Laws here: the
approved bytes, the digest and the calibrations stand in one entry; a serial is used
once; an approval that has not taken over yet is withdrawn by the next one; a pump that
is not the approved one is held until a person looked at it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from fractions import Fraction

from slackwater.cli.opening import Approved, approval_at, read_approval
from slackwater.cli.reading import Files
from slackwater.cli.takeover import Swap
from slackwater.errors import Finding, RefusedError
from slackwater.facts.events import AnyEvent, HoldRaised, PlanApproved, PlanWithdrawn
from slackwater.facts.plan import Approval
from slackwater.facts.reasons import Code, because
from slackwater.facts.stages import HalfBegan, LineGivenBack
from slackwater.facts.state import State
from slackwater.outside.approved import machine_text, plan_text
from slackwater.planning.changes import (
    Change,
    Growth,
    changes,
    largest_ratio,
    touched_pumps,
)
from slackwater.planning.daily import highest_daily_ul
from slackwater.planning.faults import line_faults
from slackwater.pump.command import rate_in_force
from slackwater.pump.outcome import Stamp
from slackwater.service.tables import table_digest_of

UL_A_ML = 1000
# An approval this near its end may be renewed although nothing changed.
RENEW_WITHIN = timedelta(days=30)
# More than this on its largest day, and a pump begins with half doses for a day.
MORE = Fraction(11, 10)
HALF_LASTS = timedelta(hours=24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Files that ask for an approval, beside the one given last.

    `changes` are those against that one, `lasted` those against the newest plan that
    was in force for a day; `growths` are measured from all of these, see
    `cli.in_force`. `flows` holds pumps whose calibration moved since by much: new over
    old.
    """

    files: Files
    digest: str
    sha256: Mapping[str, str]
    before: Approved | None = None
    changes: tuple[Change, ...] = ()
    growths: tuple[Growth, ...] = ()
    lasted: tuple[Change, ...] = ()
    touched: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    flows: Mapping[str, Fraction] = field(default_factory=dict)

    @property
    def ratio(self) -> Fraction:
        """The largest growth of any pump or parameter, at least 1."""
        return largest_ratio(tuple(growth.change for growth in self.growths))


@dataclass(frozen=True, slots=True, kw_only=True)
class Consent:
    """What a person said to a proposal; `report` is the SHA-256 of what they read."""

    proposal: Proposal
    by: str
    swap: Swap
    report: str = ""


def proposal_for(
    files: Files, digest: str, sha256: Mapping[str, str], before: Approved | None
) -> Proposal:
    """Compare files with the approval given last."""
    if before is None:
        return Proposal(files=files, digest=digest, sha256=sha256)
    return Proposal(
        files=files,
        digest=digest,
        sha256=sha256,
        before=before,
        changes=changes((before.plan, before.machine), (files.plan, files.machine)),
        touched=touched_pumps(before.machine, files.machine, files.plan),
    )


def beside_withdrawn(proposal: Proposal, gone: Approved | None) -> Proposal:
    """Compare amounts with what was approved and withdrawn, where nothing stands.

    Else a withdrawal would let any growth pass unasked.
    """
    if gone is None:
        return proposal
    ours = proposal.files.plan, proposal.files.machine
    return replace(proposal, changes=changes((gone.plan, gone.machine), ours))


def is_standing(proposal: Proposal, state: State, stamp: Stamp) -> bool:
    """Whether the approval given last says exactly this and is not near its end."""
    if proposal.before is None:
        return False
    approval = proposal.before.approval
    left = approval.expires_at - stamp["at"]
    lasts = timedelta(seconds=proposal.files.machine.timing.approval_lasts_s)
    return (
        approval.digest == proposal.digest
        and approval.calibrations == calibrations(proposal.files, state)
        and approval.hardware == hardware(proposal.files, state)
        and left > min(RENEW_WITHIN, lasts / 2)
    )


def is_highest(files: Files, typed_ul: int) -> bool:
    """Whether a person typed the highest daily volume, exact or rounded up to 1 mL."""
    exact_ul = highest_daily_ul(files.plan, files.machine)
    return typed_ul in (exact_ul, -(-exact_ul // UL_A_ML) * UL_A_ML)


def calibrations(files: Files, state: State) -> dict[str, str]:
    """The calibration in force for each pump, eight hex digits."""
    return {
        name: rate_in_force(state, pump)[1]
        for name, pump in sorted(files.machine.pumps.items())
    }


def hardware(files: Files, state: State) -> dict[str, tuple[str, str]]:
    """The device and limits each node showed when a pump of it was last calibrated."""
    seen = sorted(
        (known.at, files.machine.pumps[name].node, (known.hw, known.cfg))
        for name, known in state.calibrations.items()
        if name in files.machine.pumps and known.hw
    )
    return {node: shown for _, node, shown in seen}


def entries(consent: Consent, state: State, stamp: Stamp) -> list[AnyEvent]:
    """The entries of one approval, to be appended together.

    Raises: RefusedError when another approval was given since the proposal was shown.
    """
    proposal = consent.proposal
    _refuse_overtaken(proposal, state)
    files, swap = proposal.files, consent.swap
    lasts = timedelta(seconds=files.machine.timing.approval_lasts_s)
    grace = timedelta(seconds=files.machine.timing.approval_grace_s)
    approval = Approval(
        serial=state.last_serial + 1,
        digest=proposal.digest,
        takes_over_at=swap.at,
        expires_at=swap.at + lasts,
        grace_until=swap.at + lasts + grace,
        by=consent.by,
        highest_daily_ul=highest_daily_ul(files.plan, files.machine),
        calibrations=calibrations(files, state),
        hardware=hardware(files, state),
        left_out_until=swap.left_out_until,
    )
    approved = PlanApproved(
        **stamp,
        approval=approval,
        machine=machine_text(files.machine),
        plan=plan_text(files.plan),
        files=proposal.sha256,
        report=consent.report,
        table=table_digest_of(files.plan, files.machine),
    )
    return [
        *_pending(consent, state, stamp),
        *_outgrown(consent, state, stamp),
        approved,
        *_holds(consent, state, stamp),
        *_halves(consent, state, stamp),
        *_left(consent, state, stamp),
    ]


def _pending(consent: Consent, state: State, stamp: Stamp) -> list[AnyEvent]:
    """Approvals that would take over after this one, or never did, end here."""
    return [
        PlanWithdrawn(
            **stamp,
            serial=known.approval.serial,
            by=consent.by,
            why="another plan was approved before it took over",
        )
        for known in state.approvals
        if known.approval.takes_over_at > stamp["at"]
    ]


def _outgrown(consent: Consent, state: State, stamp: Stamp) -> list[AnyEvent]:
    """Plans before this one that name what the new machine no longer has.

    The daemon reads every standing plan against the newest approved machine: one that
    cannot be laid out any more must not stand.
    Raises: RefusedError when the plan in force is one and would go on for a while.
    """
    machine = consent.proposal.files.machine
    running = approval_at(state, stamp["at"])
    found: list[AnyEvent] = []
    for known in state.approvals:
        serial = known.approval.serial
        if known.approval.takes_over_at > stamp["at"]:
            continue
        faults = line_faults(read_approval(known).plan, machine)
        if not faults:
            continue
        is_running = running is not None and running.approval.serial == serial
        if is_running and consent.swap.at > stamp["at"]:
            raise RefusedError(_goes_on(serial, faults[0].finding))
        why = "it does not fit the machine that was approved after it"
        found.append(PlanWithdrawn(**stamp, serial=serial, by=consent.by, why=why))
    return found


def _goes_on(serial: int, fault: Finding) -> Finding:
    return Finding(
        what=f"approval {serial} goes on until then and does not fit this machine: "
        f"{fault.what}",
        where=fault.where,
        expected="a machine that still has what the plan in force names",
        do="Approve with --now, or take its lines out of the plan first.",
    )


def _holds(consent: Consent, state: State, stamp: Stamp) -> list[AnyEvent]:
    """While pumps run, those that changed stand still until a person looked."""
    if state.stage != "live":
        return []
    return [
        HoldRaised(
            **stamp,
            hold_id=f"changed/{pump}",
            scope=f"pump/{pump}",
            reason=because(Code.PUMP_CHANGED, pump=pump, why=", ".join(why)),
            latched=True,
            by=consent.by,
        )
        for pump, why in consent.proposal.touched.items()
        if f"changed/{pump}" not in state.holds
    ]


def _halves(consent: Consent, state: State, stamp: Stamp) -> list[AnyEvent]:
    """While pumps run, what gives more, or flows otherwise, begins with half doses."""
    if state.stage != "live":
        return []
    return [
        HalfBegan(
            **stamp,
            scope=f"pump/{pump}",
            from_at=consent.swap.at,
            lasts_s=HALF_LASTS.total_seconds(),
            why=why,
            by=consent.by,
        )
        for pump, why in sorted(_new_amounts(consent.proposal).items())
    ]


def _new_amounts(proposal: Proposal) -> dict[str, str]:
    """Pumps that are to begin with half doses, each with why."""
    found = {
        pump: f"its calibration moved the flow {ratio_words(ratio)} times"
        for pump, ratio in proposal.flows.items()
    }
    # The larger of the two stays: it stands behind.
    both = (*proposal.changes, *proposal.lasted)
    for change in sorted(both, key=lambda one: one.ratio or Fraction()):
        ratio = change.ratio
        if change.pump and ratio is not None and ratio > MORE:
            found[change.pump] = f"{ratio_words(ratio)} times as much a day as before"
    return found


def _left(consent: Consent, state: State, stamp: Stamp) -> list[AnyEvent]:
    """While pumps run, lines that an old doser gives by the new file alone are left.

    Raises: RefusedError where a line that is left to it would be given by nobody.
    """
    if state.stage != "live":
        return []
    machine, before = consent.proposal.files.machine, consent.proposal.before
    named = {one.replaced_by for one in machine.outside} - {""}
    known = {one.replaced_by for one in before.machine.outside} if before else set()
    plan = consent.proposal.files.plan
    gone = [name for name in state.left_to_old if name in plan.names - named]
    if gone:
        raise RefusedError(_nobody(gone[0]))
    return [
        LineGivenBack(**stamp, line=name, by=consent.by)
        for name in sorted((named - known) & plan.names)
        if name not in state.left_to_old
    ]


def _nobody(name: str) -> Finding:
    return Finding(
        what=f"{name} is left to an old doser that the file no longer names",
        where="outside",
        expected="the line taken over first, so that one of the two gives it",
        do=f"Run `slackwater take-over {name}`, then take the table out.",
    )


def ratio_words(ratio: Fraction) -> str:
    """A ratio as it is shown and as it is typed."""
    return f"{float(ratio):.2f}"


def _refuse_overtaken(proposal: Proposal, state: State) -> None:
    before = proposal.before
    shown = before.approval.serial if before else 0
    given = state.approvals[-1].approval.serial if state.approvals else 0
    if shown == given:
        return
    is_gone = shown in state.withdrawn
    as_shown = f"approval {shown} to be the last" if shown else "no approval to stand"
    raise RefusedError(
        Finding(
            what=f"approval {shown} was withdrawn in between"
            if is_gone
            else f"approval {given} was given in between",
            where="ledger",
            expected=f"{as_shown}, as it was shown",
            do="Look at it with `slackwater approvals`, then approve again.",
        )
    )
