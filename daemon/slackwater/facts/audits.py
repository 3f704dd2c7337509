"""That an audit was made, and what it found.

Floor 2. One subject: the entry of an audit. Laws here: it holds figures for people and
alarms; no decision about a dose reads it.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from slackwater.facts.now import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited(Event):
    """What was dosed was compared with what was approved, from `since` to `until`.

    `missing` have a reason from the list, `unexplained` none; `beyond` counts days on
    which a pump is believed to have given more than approved. `replayed` decisions were
    decided again from what is stored, `differing` of them otherwise. `first` is the
    first departure in words, empty when there is none.
    """

    kind: Literal["audited"] = "audited"
    since: datetime
    until: datetime
    doses: int
    given: int
    missing: int
    extra: int = 0
    altered: int = 0
    duplicate: int = 0
    unexplained: int = 0
    beyond: int = 0
    replayed: int = 0
    differing: int = 0
    first: str = ""
    version: str = ""
    by: str

    @property
    def faults(self) -> int:
        """Everything that should be nought."""
        wrong = self.extra + self.altered + self.duplicate
        return wrong + self.unexplained + self.beyond + self.differing
