"""What a fault case is, and what came of it.

Floor 6. One subject: the records of the fault rehearsal. Laws here: a case is a script
and nothing else; whatever it found is a figure, and "nothing was carried over" is said
only where it was looked for.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.rehearsal.clock_changes import Way
from slackwater.rehearsal.faults.house import SECOND_MS, House

Group = Literal["A", "B", "C", "D", "E", "F", "G", "H", "I", "burst"]
GROUPS: Mapping[Group, str] = {
    "A": "Crash points",
    "B": "Broker and network",
    "C": "Pump and node",
    "D": "Ledger",
    "E": "Time",
    "F": "Plan",
    "G": "Sensors",
    "H": "Operator",
    "I": "Security and resources",
    "burst": "Several at once",
}
# A fault that is there before its dose is due.
BEFORE_MS = 30 * SECOND_MS
# What a pump does after the fault, when it is asked then.
Answer = Literal["runs", "shortens", "stops"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The dose around which a fault strikes; `due_ms` is its true time."""

    dose: DueDose
    due_ms: int
    node: str
    channel: str
    run_ms: int

    @property
    def before_ms(self) -> int:
        """When most faults strike: so early that the daemon may notice."""
        return self.due_ms - BEFORE_MS

    @property
    def middle_ms(self) -> int:
        """The middle of its run."""
        return self.due_ms + self.run_ms // 2

    @property
    def tank(self) -> str:
        """The tank of the dose."""
        return self.dose.tank

    @property
    def pump(self) -> str:
        """The pump of the dose."""
        return self.dose.pump


Strike = Callable[[House, Target], None]
# Why a machine cannot be tried with a fault; empty where it can.
Unfit = Callable[[Machine, Target], str]


def always_fits(_machine: Machine, _target: Target) -> str:
    """Nothing keeps the case from being tried."""
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One fault: `strike` arms it before its dose is due.

    `expects` are the reasons of which one must stand before the house counts as safe;
    empty where nothing has to stop. `about` is the input and its state in the table of
    interlocks. `unfit` says why a machine cannot be tried with it, empty where it can.
    `begins_s` is when it strikes, in seconds from the due time of its dose; `day` lets
    it strike on the next day on which the clocks change.
    """

    id: str
    group: Group
    hazards: tuple[str, ...]
    title: str
    strike: Strike
    expects: frozenset[Code] = frozenset()
    about: tuple[str, str] = ("", "")
    begins_s: float = -30.0
    day: Way | None = None
    unfit: Unfit = always_fits


@dataclass(frozen=True, slots=True, kw_only=True)
class Highest:
    """The highest total of any 24 h over all pumps, measured by its cap.

    `charged_ul` is what counts against the cap, `flowed_ul` what truly came out of
    the same pump in any 24 h.
    """

    pump: str
    charged_ul: int
    flowed_ul: int
    cap_ul: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What one fault did.

    Counts are of all pumps, from the strike to a day and two hours after it: `held`
    doses waited and were given or missed later; of `undecided` ones the daemon could
    not even say that they were missed. `safe_after_s` None: not within that time.
    `answers` says what each pump would do then. `carried` is empty where nothing
    was carried over, else what was.
    """

    case: str
    given: int
    missed: int
    held: int
    shortened: int
    undecided: int
    highest: Highest
    safe_after_s: float | None
    reasons: tuple[Code, ...]
    answers: Mapping[str, Answer]
    carried: tuple[str, ...] = ()
    over_caps: tuple[str, ...] = ()

    @property
    def is_sound(self) -> bool:
        """Whether it ended as it must."""
        return not (self.carried or self.over_caps or self.safe_after_s is None)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotTried:
    """A case that this machine cannot be tried with, and why."""

    case: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultRun:
    """All cases in the order of the table, and what came of each."""

    cases: tuple[Case, ...]
    tried: tuple[Tried, ...] = ()
    not_tried: tuple[NotTried, ...] = field(default_factory=tuple)
