"""What an assessment suggests, and why.

Floor 2. One subject: proposals. Laws here: nothing runs from a proposal; every line and
every line that is missing carries its grounds with their figures.
Units: levels canonical, per day where a rate is meant; volumes whole microlitres.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Literal

from slackwater.facts.plan import Plan
from slackwater.facts.reasons import Figure

Kind = Literal["new", "more", "less", "same", "ends"]


class Ground(StrEnum):
    """Every ground there is; `GROUND_TEXTS` holds the words."""

    UPTAKE = "uptake"
    NET_BALANCE = "net-balance"
    STOICHIOMETRY = "stoichiometry"
    RATIO_HOLDS = "ratio-holds-it"
    RATIO_DISAGREES = "ratio-disagrees"
    GROUP = "group-ratio"
    GROUP_UNSURE = "group-ratio-unsure"
    SIDE_EFFECT = "side-effect"
    OUTSIDE = "outside-source"
    CORRECTION_UP = "correction-up"
    CORRECTION_DOWN = "correction-down"
    RUNNING = "correction-running"
    IN_PLAN = "correction-in-plan"
    RETEST = "retest-before-half"
    RETURNS = "returns-by-itself"
    RESTS = "rests-until-it-fell"
    STEPS = "in-steps"
    UNCERTAIN = "smaller-than-uncertainty"
    SURE_PART = "sure-part-only"
    LEVEL_HOLDS = "level-does-not-show-it"
    NEAR_TARGET = "near-target"
    WITHIN_ERROR = "within-its-error"
    LITTLE_EVIDENCE = "too-little-evidence"
    NEW_TANK = "new-tank"
    NO_FALL = "no-fall-shown"
    TOO_OLD = "value-too-old"
    CAME_SINCE = "came-since-its-test"
    NO_VALUE = "no-value"
    NO_TARGET = "no-target"
    SALINITY = "salinity-off"
    BLOCKED = "blocked"
    ABOVE_BOUND = "newest-test-too-high"
    DISAGREEMENT = "laboratory-and-home-disagree"
    ONE_AT_A_TIME = "one-knob-at-a-time"
    RAMP_TOO_LONG = "ramp-too-long"
    CAPPED = "capped"
    TOO_SMALL = "too-small-for-the-pump"
    ROUNDED = "rounded-down"
    CARBON_STEP = "carbon-step"
    CARBON_WAITS = "carbon-waits"
    CARBON_STOPS = "carbon-stops"
    REPEATS_NO_RISE = "repeats-no-rise"
    KEPT = "kept"
    NO_SOLUTION = "no-solution"


GROUND_TEXTS: Mapping[Ground, str] = {
    Ground.UPTAKE: "It replaces what the tank takes up.",
    Ground.NET_BALANCE: "It replaces the net balance of uptake and undeclared sources.",
    Ground.STOICHIOMETRY: "It is used together with alkalinity in a fixed ratio.",
    Ground.RATIO_HOLDS: "Its own tests show less use than alkalinity implies: it is "
    "not cut below the least of that; test both.",
    Ground.RATIO_DISAGREES: "Its own tests show another use than alkalinity implies: "
    "test both, and a standard, before it is trusted.",
    Ground.GROUP: "It keeps the fixed ratio of its group.",
    Ground.GROUP_UNSURE: "Look twice: it moves with its group though its own uptake is "
    "not known well; test it before and after.",
    Ground.SIDE_EFFECT: "Other solutions bring a part of it already.",
    Ground.OUTSIDE: "A source outside the daemon brings a part of it already.",
    Ground.CORRECTION_UP: "The level is made good over days within its rate.",
    Ground.CORRECTION_DOWN: "Less is dosed for some days, so that the level falls.",
    Ground.RUNNING: "The correction that runs already leads there; it goes on.",
    Ground.IN_PLAN: "A plan that is not in force yet has a correction that leads "
    "there: it stays.",
    Ground.RETEST: "Test again before the second half of the correction.",
    Ground.RETURNS: "It comes back by itself, because uptake follows the level.",
    Ground.RESTS: "It is too high: nothing is dosed until it should have fallen.",
    Ground.STEPS: "The change comes in daily steps within its bound.",
    Ground.UNCERTAIN: "The change would be smaller than its own uncertainty.",
    Ground.SURE_PART: "Uptake is not known well: only the sure part is changed.",
    Ground.LEVEL_HOLDS: "The level does not show yet that the dose is wrong.",
    Ground.NEAR_TARGET: "The level is where it should be, as far as can be told.",
    Ground.WITHIN_ERROR: "The level is off its target by no more than its own error: "
    "test again; until then nothing is corrected.",
    Ground.LITTLE_EVIDENCE: "Uptake is not known well enough; the dose stays.",
    Ground.NEW_TANK: "Nothing is dosed until two tests show a fall.",
    Ground.NO_FALL: "No lasting dose begins until two tests show a fall.",
    Ground.TOO_OLD: "The value is too old to correct from.",
    Ground.CAME_SINCE: "What came in since its test may have brought it there, because "
    "its uptake is not known: test again before it is raised.",
    Ground.NO_VALUE: "There is no value to correct from.",
    Ground.NO_TARGET: "No target is stated for it.",
    Ground.SALINITY: "Salinity is off by more than 1; correct that first.",
    Ground.BLOCKED: "The assessment holds it back.",
    Ground.ABOVE_BOUND: "The newest test is too high: it is not raised until a test is "
    "below the bound.",
    Ground.DISAGREEMENT: "Laboratory and home tests disagree: test a standard.",
    Ground.ONE_AT_A_TIME: "Another level is corrected first, one at a time.",
    Ground.RAMP_TOO_LONG: "The correction would take longer than 60 days.",
    Ground.CAPPED: "A cap of the machine allows no more.",
    Ground.TOO_SMALL: "It is less than the pump can give; make a weaker solution.",
    Ground.ROUNDED: "It is rounded down to what the pump can give.",
    Ground.CARBON_STEP: "A carbon source goes up by one small step a week.",
    Ground.CARBON_WAITS: "A carbon source waits a week between steps, and has a most.",
    Ground.CARBON_STOPS: "Nutrients are low or the water is warm: no carbon source.",
    Ground.REPEATS_NO_RISE: "What rock binds is not uptake: the dose is not raised.",
    Ground.KEPT: "The present line stays as it is.",
    Ground.NO_SOLUTION: "No solution of this tank is dosed for it.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounded:
    """One ground with the figures behind it."""

    ground: Ground
    figures: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """Its sentence."""
        return GROUND_TEXTS[self.ground]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known of one parameter when a plan is proposed.

    `level` is carried to today, None when there is no value, and with `at_35` as it is
    at that salinity; `uncredited` came in since its test and is not in it, because
    nobody knows how much of it was used up; `fresh` says that it is
    young enough to correct from. `uptake` per day with its standard deviation and its
    proven lower bound, None when nothing can be said; `enough` that it is narrow enough
    to act on, `wide` that nothing else is missing; `falls` that two tests showed a
    fall. `net_balance`: no outside source is declared, so the figure is a balance.
    `blocked` are grounds against any correction, `no_dose` those against any dose at
    all, `no_rise` those against any more than is given; `why` says in sentences what
    stands behind the first two. `room` is what may still be
    added before the level at which dosing ends, None for no such level.

    Where uptake follows the level, `at_target` is that at the target, and a level comes
    back by itself with a time constant of `return_days`. `too_high`: above the level at
    which dosing ends, which passes as the level falls.
    """

    parameter: str
    target: float | None = None
    level: float | None = None
    level_sd: float = 0.0
    at_35: bool = False
    uncredited: float = 0.0
    fresh: bool = False
    uptake: float | None = None
    uptake_sd: float = 0.0
    uptake_low: float = 0.0
    enough: bool = False
    wide: bool = False
    falls: bool = False
    net_balance: bool = False
    blocked: tuple[Ground, ...] = ()
    no_dose: tuple[Ground, ...] = ()
    no_rise: tuple[Ground, ...] = ()
    why: tuple[str, ...] = ()
    room: float | None = None
    at_target: float | None = None
    at_target_sd: float = 0.0
    return_days: float | None = None
    too_high: bool = False

    @property
    def level_name(self) -> str:
        """What the figure of its level is called, so that it can be told apart."""
        return "level_at_35" if self.at_35 else "level"

    @property
    def lasting(self) -> tuple[float, float]:
        """The uptake that a dose must replace in the long run, with its error."""
        if self.at_target is not None:
            return self.at_target, self.at_target_sd
        return self.uptake or 0.0, self.uptake_sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What becomes of one pump's daily amount.

    `before_ul` and `after_ul` a day of maintenance; `adds` what the difference adds to
    the water a day, canonical, by parameter; `correction_ul` a day for
    `correction_days` on top (negative: withheld); `relaid`: lines change though the
    amount stays.
    """

    pump: str
    solution: str
    parameter: str
    kind: Kind
    before_ul: int
    after_ul: int
    adds: Mapping[str, float]
    grounds: tuple[Grounded, ...]
    correction_ul: int = 0
    correction_days: int = 0
    relaid: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Withheld:
    """A parameter for which nothing is changed, and why."""

    parameter: str
    grounds: tuple[Grounded, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A plan suggested for one tank.

    `plan` holds every line of the machine, those of other tanks untouched; `reasons`
    maps a line id of this tank to its grounds.
    """

    tank: str
    made_on: date
    plan: Plan
    changes: tuple[Change, ...] = ()
    withheld: tuple[Withheld, ...] = ()
    reasons: Mapping[str, tuple[Grounded, ...]] = field(default_factory=dict)

    @property
    def is_none(self) -> bool:
        """Whether the best action is none."""
        return all(
            one.kind == "same" and not one.correction_ul and not one.relaid
            for one in self.changes
        )
