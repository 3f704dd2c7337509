"""What the ledger knows that a rehearsal is read beside.

Floor 8. One subject: the plan approved before, levels, uptake by tests, calibrations
and what is left in bottles. Laws here: the ledger is read and nothing is written; the
moment is that of its newest entry and not the clock's, so that the same ledger gives
the same report; where there is no ledger there is no past, and that is no error.
Units: levels and uptake canonical; microlitres.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from slackwater.cli.opening import Approved, Opened, newest_approval, opened
from slackwater.cli.subject import known_levels
from slackwater.errors import LedgerMissingError
from slackwater.facts.inventory import left_ul
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.service.assessing import LookBack, assessed

# The 90 % interval of an assessment.
HALF_WIDTH_90 = 1.645


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """An uptake a day between two bounds; `high` None where nobody stated one."""

    low: float
    estimate: float
    high: float | None
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What a ledger says; all of it is empty without one.

    `levels` and `uptakes` map a tank to its parameters, `calibrated` a pump to when it
    was measured last, `left_ul` a reservoir to what is in it by the books. `back_on` is
    the local day of return from a declared absence.
    """

    ledger_id: str = ""
    at: datetime | None = None
    before: Approved | None = None
    levels: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    uptakes: Mapping[str, Mapping[str, Interval]] = field(default_factory=dict)
    calibrated: Mapping[str, datetime] = field(default_factory=dict)
    left_ul: Mapping[str, int] = field(default_factory=dict)
    back_on: date | None = None


def read_past(state_dir: Path, machine: Machine) -> Past:
    """The past of a state directory.

    Raises: the ledger errors, but for a ledger that is not there.
    """
    try:
        with opened(state_dir) as found:
            state = found.state
            at = state.newest_at or found.now.utc
            return Past(
                ledger_id=state.ledger_id,
                at=at,
                before=newest_approval(state),
                levels={
                    tank: {
                        name: known.level
                        for name, known in known_levels(state, tank).items()
                    }
                    for tank in sorted(machine.tanks)
                },
                uptakes={
                    tank: _uptakes(found, machine, tank, at)
                    for tank in sorted(machine.tanks)
                },
                calibrated={
                    pump: known.at for pump, known in sorted(state.calibrations.items())
                },
                left_ul={
                    name: left_ul(machine, state, name)
                    for name in sorted(machine.reservoirs)
                },
                back_on=_back_on(machine, state),
            )
    except LedgerMissingError:
        return Past()


def _back_on(machine: Machine, state: State) -> date | None:
    """The day on which somebody comes back, as it is called beside the last tank."""
    if state.away is None:
        return None
    zones = {tank.zone for tank in machine.tanks.values()}
    return max(state.away.until.astimezone(ZoneInfo(zone)).date() for zone in zones)


def _uptakes(
    past: Opened, machine: Machine, tank: str, at: datetime
) -> dict[str, Interval]:
    """Uptakes that tests show well enough."""
    back = LookBack.of(past.state)
    found = assessed(past.ledger, machine, tank, at, back).uptakes
    return {
        name: Interval(
            low=one.low_per_day,
            estimate=one.per_day,
            high=one.per_day + HALF_WIDTH_90 * one.sd_per_day,
            source="tests",
        )
        for name, one in sorted(found.items())
        if one.enough
    }
