"""The two files of the configuration directory, read for a person.

Floor 8. One subject: files → machine, plan, digest. Laws here: everything that is wrong
in both files comes out at once; the digest is the one an approval is bound to and needs
no ledger.
"""

from dataclasses import dataclass
from pathlib import Path

from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.outside.approved import digest
from slackwater.outside.settings import (
    MachineDraft,
    PlanDraft,
    draft_machine,
    draft_plan,
    part_of,
)
from slackwater.planning.ceilings import check
from slackwater.planning.days import approved_days
from slackwater.planning.timetable import dose_table_lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """What the files of one directory say."""

    machine: Machine
    plan: Plan


def read_files(config: Path, *, is_held: bool = True) -> Files:
    """Machine and plan of a directory.

    A plan is read against what the machine's file offers, as far as that is known.
    Raises: InputError with everything that is wrong in both files, and then with what
    the lines that are sound would break, unless the plan is not to be held to it.
    """
    machine = draft_machine(config)
    plan = draft_plan(config, machine.offered)
    # Where there is no directory that is all there is to say.
    found = (*machine.findings, *plan.findings) if config.is_dir() else machine.findings
    if found or machine.machine is None or plan.plan is None:
        broken = _broken(machine, plan) if is_held else []
        raise InputError((*found, *broken))
    return Files(machine=machine.machine, plan=plan.plan)


def _broken(machine: MachineDraft, plan: PlanDraft) -> list[Finding]:
    """What the plan would break, judged as far as files at fault let it be."""
    known, drafted = machine.machine, plan.plan
    if known is None or drafted is None:
        return []
    doubts = machine.doubts
    lines = [line for line in drafted.lines if not doubts.are_about(line, known)]
    return check(part_of(drafted, lines), known, doubts.caps)


def digest_of(files: Files) -> str:
    """The digest an approval of these files is bound to, 64 hex digits.

    Raises: InputError when a line of the plan is at fault in itself.
    """
    plan, machine = files.plan, files.machine
    days = approved_days(plan, machine)
    return digest(machine, plan, dose_table_lines(plan, machine, days))
