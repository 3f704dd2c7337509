"""What the ledger knows that a rehearsal is read beside.

Floor 8. One subject: the plan approved before, levels, uptake by tests, calibrations
and what is left in bottles. Laws here: the ledger is read and nothing is written; the
moment is that of its newest entry and not the clock's, so that the same ledger gives
the same report; where there is no ledger there is no past, and that is no error; levels
and uptakes are those of an assessment of that moment, never a second reckoning; where
it has no alkalinity of now, that is what a status believes.
Units: levels and uptake canonical; microlitres.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from slackwater.assessment.records import Assessment
from slackwater.assessment.stating import UptakeApart, uptakes_apart
from slackwater.cli.high_tests import too_high
from slackwater.cli.lasting import Held, Tube, held, tubes
from slackwater.cli.old_doser import left_to_old
from slackwater.cli.opening import Approved, Opened, newest_approval, opened
from slackwater.cli.report.believing import believed_alkalinity
from slackwater.cli.subject import known_levels
from slackwater.errors import LedgerMissingError
from slackwater.facts.events import Calibrated
from slackwater.facts.inventory import left_ul
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.wear import is_unmeasured
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

    `levels` and `uptakes` map a tank to its parameters; `assessed` holds the names of
    those levels that an assessment carried to `at`, `believed` those that were carried
    as a status does it, the others are as they were tested,
    and `too_high` a sentence for each parameter of a tank tested above its bound.
    `apart` are the uptakes of a tank by tests that the file states otherwise.
    `calibrated` maps a pump to when it was measured last, `measured` to the entry of
    that, `new_tubes` one whose tube was swapped after that to when it was, `left_ul` a
    reservoir to what is in it by the books, `held` how sure that is;
    `tubes` is what of them is behind. `back_on` is the local day of return
    from a declared absence; `still_old` holds the lines, `TANK/LINE`, that an old doser
    gives until they are taken over.
    """

    ledger_id: str = ""
    at: datetime | None = None
    before: Approved | None = None
    levels: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    assessed: Mapping[str, frozenset[str]] = field(default_factory=dict)
    believed: Mapping[str, frozenset[str]] = field(default_factory=dict)
    too_high: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    uptakes: Mapping[str, Mapping[str, Interval]] = field(default_factory=dict)
    apart: Mapping[str, tuple[UptakeApart, ...]] = field(default_factory=dict)
    calibrated: Mapping[str, datetime] = field(default_factory=dict)
    measured: Mapping[str, Calibrated] = field(default_factory=dict)
    new_tubes: Mapping[str, datetime] = field(default_factory=dict)
    left_ul: Mapping[str, int] = field(default_factory=dict)
    held: Mapping[str, Held] = field(default_factory=dict)
    tubes: tuple[Tube, ...] = ()
    back_on: date | None = None
    still_old: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """The levels of one tank: as tested last, as assessed, as a status believes."""

    tested: Mapping[str, float]
    assessed: Mapping[str, float]
    believed: Mapping[str, float]

    @property
    def every(self) -> dict[str, float]:
        """Each parameter by the best that is known of it."""
        return {**self.tested, **self.believed, **self.assessed}


def _levels(found: Opened, tank: str, told: Assessment, at: datetime) -> _Levels:
    known = known_levels(found.state, tank)
    return _Levels(
        tested={name: one.level for name, one in known.items()},
        assessed=_carried(told),
        believed=believed_alkalinity(found.state, tank, known, at),
    )


def read_past(state_dir: Path, machine: Machine) -> Past:
    """The past of a state directory.

    Raises: the ledger errors, but for a ledger that is not there.
    """
    try:
        with opened(state_dir) as found:
            state = found.state
            at = state.newest_at or found.now.utc
            known = {
                tank: assessed(found.ledger, machine, tank, at, LookBack.of(state))
                for tank in sorted(machine.tanks)
            }
            levels = {
                tank: _levels(found, tank, one, at) for tank, one in known.items()
            }
            return Past(
                ledger_id=state.ledger_id,
                at=at,
                before=newest_approval(state),
                levels={tank: one.every for tank, one in levels.items()},
                assessed={
                    tank: frozenset(one.assessed) for tank, one in levels.items()
                },
                believed={
                    tank: frozenset(one.believed) for tank, one in levels.items()
                },
                too_high={tank: too_high(one, machine) for tank, one in known.items()},
                uptakes={tank: _uptakes(one) for tank, one in known.items()},
                apart={
                    tank: uptakes_apart(one, machine.tanks[tank])
                    for tank, one in known.items()
                },
                calibrated={
                    pump: known.at for pump, known in sorted(state.calibrations.items())
                },
                measured=dict(sorted(state.calibrations.items())),
                new_tubes={
                    pump: at
                    for pump, at in sorted(state.tubes.items())
                    if is_unmeasured(state, pump)
                },
                left_ul={
                    name: left_ul(machine, state, name)
                    for name in sorted(machine.reservoirs)
                },
                held=held(machine, state),
                tubes=tubes(machine, state),
                back_on=_back_on(machine, state, at),
                still_old=left_to_old(state, machine, newest_approval(state)),
            )
    except LedgerMissingError:
        return Past(still_old=left_to_old(State(), machine, None))


def _back_on(machine: Machine, state: State, at: datetime) -> date | None:
    """The day on which somebody comes back, as it is called beside the last tank.

    None where nobody is away, or should be back already.
    """
    if state.away is None or state.away.until < at:
        return None
    zones = {tank.zone for tank in machine.tanks.values()}
    return max(state.away.until.astimezone(ZoneInfo(zone)).date() for zone in zones)


def _carried(found: Assessment) -> dict[str, float]:
    """Levels as an assessment says them; a newest test that is too high as it was."""
    return {
        name: one.level if one.above is None else one.above
        for name, one in sorted(found.standings.items())
        if one.level is not None and one.word not in {"unknown", "too old"}
    }


def _uptakes(found: Assessment) -> dict[str, Interval]:
    """Uptakes that tests show well enough."""
    return {
        name: Interval(
            low=one.low_per_day,
            estimate=one.per_day,
            high=one.per_day + HALF_WIDTH_90 * one.sd_per_day,
            source="tests",
        )
        for name, one in sorted(found.uptakes.items())
        if one.enough
    }
