"""What is said of a series of alkalinity readings, and what people told of besides.

Floor 2. One subject: judgements of a series, and breaks in it. Laws here: a judgement
carries its figures; what was told explains a step and never lifts a ceiling; both stay
few, however many years go by.
Units: rises in meq/L, amounts in whole pico-equivalents for the tank, aware UTC times.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from slackwater.facts.now import Event
from slackwater.facts.reasons import Figure, Reason

Verdict = Literal[
    "steady",
    "swing-up",
    "swing-down",
    "probe-fault",
    "dose-fault",
    "too-little",
]
# A change of water and an addition move the water; a service moves the probe alone; an
# event may have moved either; a release says that a person accepts what is there.
Told = Literal["change", "addition", "service", "event", "release"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesJudged(Event):
    """What is said of a series is another thing than before.

    `source` is `probe/ID` or `hand/TANK`; `taken_at` the time of the newest reading
    that was looked at. `reason` is None where there is nothing to act on, and `figures`
    are then what that is told by; `excess` says that there is too much, so that doses
    are held and not only shortened.
    """

    kind: Literal["series_judged"] = "series_judged"
    tank: str
    source: str
    verdict: Verdict
    taken_at: datetime
    reason: Reason | None = None
    excess: bool = False
    figures: Mapping[str, Figure] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """Something told that moves a series for another reason than a swing.

    `rise` is what a change of water is said to do, None where nobody knows; `added` is
    what an addition brought, and is among the believed amounts already.
    """

    at: datetime
    told: Told
    rise: float | None = None
    added: int = 0
