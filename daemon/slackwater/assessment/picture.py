"""Everything that was found about a tank, before it is judged as a whole.

Floor 3. One subject: the picture that blocks, notices and advice look at. Laws here:
nothing is decided; what is asked of more than once has one place.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import hypot

from slackwater.assessment.agreement import Agreement
from slackwater.assessment.answering import Answer
from slackwater.assessment.practice import SALINITY
from slackwater.assessment.records import (
    Check,
    Point,
    Series,
    Standing,
    TraceStanding,
    UptakeFound,
)
from slackwater.assessment.tank_days import day_at_tank
from slackwater.facts.history import History
from slackwater.facts.tank import Machine, Tank
from slackwater.water.seawater import STANDARD_SALINITY

_UL_IN_LITRE = 10**6
# A test by another method that lies further from the level than this says something
# else (`agreement` holds laboratories to the same).
UNLIKE_SDS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What was found; each map by parameter.

    `dosed` are the parameters that pumps of this tank add or hands added; `before` how
    many of their tests are from before anybody recorded what was dosed; `answer` is
    what alkalinity says of its pumps.
    """

    machine: Machine
    history: History
    now: datetime
    dosed: frozenset[str] = frozenset()
    before: Mapping[str, int] = field(default_factory=dict)
    series: Mapping[str, tuple[Series, ...]] = field(default_factory=dict)
    standings: Mapping[str, Standing] = field(default_factory=dict)
    uptakes: Mapping[str, UptakeFound] = field(default_factory=dict)
    traces: Mapping[str, TraceStanding] = field(default_factory=dict)
    agreements: Mapping[str, Mapping[tuple[str, str], Agreement]] = field(
        default_factory=dict
    )
    checks: tuple[Check, ...] = ()
    answer: Answer | None = None

    @property
    def tank(self) -> Tank:
        """The tank that is looked at."""
        return self.machine.tanks[self.history.tank]

    @property
    def litres(self) -> float:
        """Its net volume."""
        return self.tank.net_ul / _UL_IN_LITRE

    @property
    def today(self) -> date:
        """The date at the tank."""
        return self.day(self.now)

    def due(self, days: float) -> date:
        """The date at the tank in so many days."""
        return self.day(self.now + timedelta(days=days))

    def day(self, utc: datetime) -> date:
        """The date at the tank of a moment."""
        return day_at_tank(self.tank, utc)

    def fresh(self, parameter: str) -> float | None:
        """The level of a parameter now, None where it is unknown or too old."""
        found = self.standings.get(parameter)
        if found is None or found.word in {"unknown", "too old"}:
            return None
        return found.level

    @property
    def salinity_off(self) -> float | None:
        """How far salinity lies from its target, None where it is not known."""
        level = self.fresh(SALINITY)
        if level is None:
            return None
        return level - self.tank.targets.get(SALINITY, STANDARD_SALINITY)

    def held(self, parameter: str) -> Point | None:
        """The newest test of a parameter, where it waits for a retest.

        Either it does not fit its own method's tests, or, by another method, not the
        level that is judged: then nobody knows which of the two is wrong. Nor do they
        where it is so high that it took the place of that level.
        """
        series = self.series.get(parameter, ())
        newest = [one.points[-1] for one in series]
        latest = max(newest, key=lambda point: point.at, default=None)
        if latest is not None and (
            latest.use == "held" or self._is_gainsaid(parameter)
        ):
            return latest
        by_hand = [one.points[-1] for one in series if one.provenance == "hand"]
        told = max(by_hand, key=lambda point: point.at, default=None)
        return told if told is not None and self._is_unlike(parameter, told) else None

    def _is_gainsaid(self, parameter: str) -> bool:
        found = self.standings.get(parameter)
        return found is not None and found.gainsaid_by is not None

    def apart(self, parameter: str) -> Point | None:
        """The newest test of a parameter, where its readings contradict each other."""
        newest = [one.points[-1] for one in self.series.get(parameter, ())]
        latest = max(newest, key=lambda point: point.at, default=None)
        return latest if latest is not None and latest.apart else None

    def _is_unlike(self, parameter: str, later: Point) -> bool:
        found = self.standings.get(parameter)
        if found is None or found.level is None or found.level_sd is None:
            return False
        if found.sampled_at is None or later.at <= found.sampled_at or later.censored:
            return False
        allowed = UNLIKE_SDS * hypot(later.sd, found.level_sd)
        return abs(later.value - found.level) > allowed

    def disputed(self, parameter: str) -> Agreement | None:
        """The disagreement of laboratory and home tests, where there is one."""
        found = self.agreements.get(parameter, {}).values()
        return next((one for one in found if one.disputed), None)
