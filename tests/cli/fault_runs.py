"""Rehearsals of faults that all processes of a run of tests make once.

A rehearsal of faults is a pure function of machine, plan and first day, and takes
seconds. `report/test_same_bytes.py` makes one in a process of its own, `rehearsal/`
judges them.
"""

import fcntl
import hashlib
import pickle
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.outside.approved import machine_text, plan_text
from slackwater.rehearsal.faults.case import Case, FaultRun
from slackwater.rehearsal.faults.running import run_cases

# The plans of the samples whose rehearsal takes longest: every third fault of theirs,
# unless long tests are asked for.
LARGE = frozenset({"two tanks", "four solutions"})
EVERY = 3


class FaultRuns:
    """Stands where a report asks for `run_cases`."""

    def __init__(self, folder: Path, *, whole: bool) -> None:
        """Keep where runs lie, and whether large samples have all their faults."""
        self._folder = folder
        self._whole = whole

    def __call__(
        self, machine: Machine, plan: Plan, first: date, cases: Sequence[Case]
    ) -> FaultRun:
        """The run of these cases; the first to ask has it made."""
        if plan.name in LARGE and not self._whole:
            cases = cases[::EVERY]
        names = ",".join(case.id for case in cases)
        asked = "\n".join((machine_text(machine), plan_text(plan), f"{first}", names))
        path = self._folder / f"faults-{hashlib.sha256(asked.encode()).hexdigest()}"
        with path.with_suffix(".lock").open("w") as turn:
            fcntl.flock(turn, fcntl.LOCK_EX)
            if not path.exists():
                run = run_cases(machine, plan, first, cases)
                path.write_bytes(pickle.dumps((run.tried, run.not_tried)))
            tried, not_tried = pickle.loads(path.read_bytes())  # noqa: S301 -- our own
        return FaultRun(cases=tuple(cases), tried=tried, not_tried=not_tried)
