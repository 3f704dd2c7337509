"""The two files of the configuration directory, read for a person.

Floor 8. One subject: files → machine, plan, digest. Laws here: everything that is wrong
in a file comes out at once; the digest is the one an approval is bound to and needs
no ledger.
"""

from dataclasses import dataclass
from pathlib import Path

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.outside.approved import digest
from slackwater.outside.settings import read_machine, read_plan
from slackwater.planning.days import approved_days
from slackwater.planning.timetable import dose_table_lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """What the files of one directory say."""

    machine: Machine
    plan: Plan


def read_files(config: Path) -> Files:
    """Machine and plan of a directory; a plan can only be read against a machine.

    Raises: InputError with everything that is wrong in the first file that is wrong.
    """
    machine = read_machine(config)
    return Files(machine=machine, plan=read_plan(config, machine))


def digest_of(files: Files) -> str:
    """The digest an approval of these files is bound to, 64 hex digits.

    Raises: InputError when a line of the plan is at fault in itself.
    """
    plan, machine = files.plan, files.machine
    days = approved_days(plan, machine)
    return digest(machine, plan, dose_table_lines(plan, machine, days))
