"""Faults of pH, temperature and salinity, and of the probes that show them.

Floor 6. One subject: group G of the hazards beside alkalinity, as scripts. Laws here:
each level stands just beyond the threshold of the very tank, so that it is the
threshold that is tried; what a tank does not watch is not tried, and that is said.
"""

from slackwater.facts.limits import limits_of
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.gate.alkalinity import STALE_PERIODS
from slackwater.gate.kinds import CARBONATE, HYDROXIDE, kinds_of
from slackwater.rehearsal.faults.case import Case, Target, Unfit
from slackwater.rehearsal.faults.distorting import (
    distorted,
    moves,
    probes_of,
    silent,
    stands_at,
    too_slow,
)
from slackwater.rehearsal.virtual_probe import QUIET

PH, TEMPERATURE, SALINITY = "ph", "temperature", "salinity"
# So far beyond a threshold: more than a probe's own steps, less than any panic.
PH_BEYOND, DEGC_BEYOND, SALINITY_BEYOND = 0.2, 1.0, 1.0
# From 8.2 beyond any limit within hours, then it stands.
PH_PER_HOUR, PH_AT_MOST = 0.5, 3.0
WORDS = {PH: "pH", TEMPERATURE: "temperature", SALINITY: "salinity"}


def unwatched(parameter: str, periods: float = 1.0) -> Unfit:
    """Why a tank cannot be tried with a fault of a parameter.

    `periods` is how many of its probe's must go by before it is noticed.
    """

    def why(machine: Machine, target: Target) -> str:
        if probes_of(machine, target.tank, parameter):
            return too_slow(machine, target.tank, parameter, periods)
        return f"{target.tank} has no {WORDS[parameter]} probe: nothing would notice"

    return why


def ph_never_asked(*kinds: str, periods: float = 1.0) -> Unfit:
    """Why pH cannot stop the pump that is struck: its solution is of no such kind."""

    def why(machine: Machine, target: Target) -> str:
        found = unwatched(PH, periods)(machine, target)
        solution = machine.solutions[machine.pumps[target.pump].solution]
        if found or not kinds_of(solution).isdisjoint(kinds):
            return found
        return f"pump {target.pump} gives no {' or '.join(kinds)}: pH never holds it"

    return why


def _too_alkaline(machine: Machine, tank: str) -> float:
    limits = limits_of(machine.limits, tank)
    return max(limits.ph_hydroxide, limits.ph_carbonate) + PH_BEYOND


def _too_hot(machine: Machine, tank: str) -> float:
    return limits_of(machine.limits, tank).temperature_hot + DEGC_BEYOND


def _too_cold(machine: Machine, tank: str) -> float:
    return limits_of(machine.limits, tank).temperature_cold - DEGC_BEYOND


def _too_salty(machine: Machine, tank: str) -> float:
    return _salinity_of(machine, tank) + _far(machine, tank)


def _too_fresh(machine: Machine, tank: str) -> float:
    return _salinity_of(machine, tank) - _far(machine, tank)


def _salinity_of(machine: Machine, tank: str) -> float:
    return machine.tanks[tank].targets.get(SALINITY, QUIET[SALINITY])


def _far(machine: Machine, tank: str) -> float:
    return limits_of(machine.limits, tank).salinity_far + SALINITY_BEYOND


_STALE = frozenset({Code.PROBE_STALE})

CLIMATE_CASES: tuple[Case, ...] = (
    Case(
        id="ph-high",
        group="G",
        hazards=("H51",),
        title="pH stands above its limit",
        strike=distorted(PH, stands_at(_too_alkaline)),
        expects=frozenset({Code.PH_HIGH}),
        about=("pH probe", "too high"),
        unfit=ph_never_asked(HYDROXIDE, CARBONATE),
    ),
    Case(
        id="ph-climbs",
        group="G",
        hazards=("H51",),
        title="pH climbs by half a unit an hour",
        strike=distorted(PH, moves(PH_PER_HOUR, PH_AT_MOST)),
        expects=frozenset({Code.PH_RISE, Code.PH_HIGH}),
        about=("pH probe", "step"),
        unfit=ph_never_asked(HYDROXIDE, CARBONATE),
    ),
    Case(
        id="ph-silent",
        group="G",
        hazards=("H48",),
        title="The pH probe falls silent",
        strike=distorted(PH, silent),
        expects=frozenset({Code.PH_UNKNOWN}),
        about=("pH probe", "stale"),
        unfit=ph_never_asked(HYDROXIDE, periods=STALE_PERIODS),
    ),
    Case(
        id="water-too-hot",
        group="G",
        hazards=("H51",),
        title="The water is hotter than any dose is allowed in",
        strike=distorted(TEMPERATURE, stands_at(_too_hot)),
        expects=frozenset({Code.TEMPERATURE_FAR}),
        about=("temperature probe", "too high"),
        unfit=unwatched(TEMPERATURE),
    ),
    Case(
        id="water-too-cold",
        group="G",
        hazards=("H51",),
        title="The water is colder than any dose is allowed in",
        strike=distorted(TEMPERATURE, stands_at(_too_cold)),
        expects=frozenset({Code.TEMPERATURE_FAR}),
        about=("temperature probe", "too low"),
        unfit=unwatched(TEMPERATURE),
    ),
    Case(
        id="temperature-silent",
        group="G",
        hazards=("H48",),
        title="The temperature probe falls silent",
        strike=distorted(TEMPERATURE, silent),
        expects=_STALE,
        about=("temperature probe", "stale"),
        unfit=unwatched(TEMPERATURE, STALE_PERIODS),
    ),
    Case(
        id="water-too-salty",
        group="G",
        hazards=("H51",),
        title="Salinity stands far above its target",
        strike=distorted(SALINITY, stands_at(_too_salty)),
        expects=frozenset({Code.SALINITY_FAR}),
        about=("salinity probe", "too high"),
        unfit=unwatched(SALINITY),
    ),
    Case(
        id="water-too-fresh",
        group="G",
        hazards=("H51",),
        title="Salinity stands far below its target",
        strike=distorted(SALINITY, stands_at(_too_fresh)),
        expects=frozenset({Code.SALINITY_FAR}),
        about=("salinity probe", "too low"),
        unfit=unwatched(SALINITY),
    ),
    Case(
        id="salinity-silent",
        group="G",
        hazards=("H48",),
        title="The salinity probe falls silent",
        strike=distorted(SALINITY, silent),
        expects=_STALE,
        about=("salinity probe", "stale"),
        unfit=unwatched(SALINITY, STALE_PERIODS),
    ),
)
