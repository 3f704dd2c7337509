"""The two files, judged without running anything.

Floor 8. One subject: what a check and a rehearsal find in the files. Laws here: all
findings at once; lines that are at fault are left out of the sound part and nothing
else is.
"""

from dataclasses import dataclass

from slackwater.cli.reading import Files, digest_of
from slackwater.errors import Finding
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import Ceiling, ceilings, check
from slackwater.planning.faults import line_faults, sound_part
from slackwater.planning.strain import cautions
from slackwater.planning.suggestions import Suggestion, suggestions


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was found; `sound` is the plan without lines that are at fault."""

    files: Files
    sound: Plan
    findings: tuple[Finding, ...]
    digest: str
    ceilings: tuple[Ceiling, ...]
    missing: tuple[Suggestion, ...]
    cautions: tuple[Finding, ...]

    @property
    def machine(self) -> Machine:
        """The machine that was read."""
        return self.files.machine


def check_files(files: Files) -> Checked:
    """Judge a machine and a plan that could be read."""
    machine = files.machine
    findings = tuple(check(files.plan, machine))
    faults = line_faults(files.plan, machine)
    sound = sound_part(files.plan, faults)
    return Checked(
        files=files,
        sound=sound,
        findings=findings,
        digest="" if faults else digest_of(files),
        ceilings=ceilings(sound, machine).all,
        missing=tuple(suggestions(sound, machine)),
        cautions=tuple(cautions(sound, machine)),
    )
