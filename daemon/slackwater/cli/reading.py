"""The two files of the configuration directory, read for a person.

Floor 8. One subject: files → machine, plan, digest. Laws here: everything that is wrong
in both files comes out at once; the digest is the one an approval is bound to and needs
no ledger.
"""

from dataclasses import dataclass
from pathlib import Path

from slackwater.errors import InputError
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.outside.approved import digest
from slackwater.outside.settings import draft_machine, draft_plan
from slackwater.planning.days import approved_days
from slackwater.planning.timetable import dose_table_lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """What the files of one directory say."""

    machine: Machine
    plan: Plan


def read_files(config: Path) -> Files:
    """Machine and plan of a directory.

    A plan is read against what the machine's file offers, as far as that is known.
    Raises: InputError with everything that is wrong in both files.
    """
    machine = draft_machine(config)
    plan = draft_plan(config, machine.offered)
    # Where there is no directory that is all there is to say.
    found = (*machine.findings, *plan.findings) if config.is_dir() else machine.findings
    if found or machine.machine is None or plan.plan is None:
        raise InputError(found)
    return Files(machine=machine.machine, plan=plan.plan)


def digest_of(files: Files) -> str:
    """The digest an approval of these files is bound to, 64 hex digits.

    Raises: InputError when a line of the plan is at fault in itself.
    """
    plan, machine = files.plan, files.machine
    days = approved_days(plan, machine)
    return digest(machine, plan, dose_table_lines(plan, machine, days))
