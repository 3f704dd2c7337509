"""What the judge of long scenarios is shown: plain figures and words, nothing else.

It imports nothing of the daemon and nothing that does.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """One stretch out of one hose, in true milliseconds and microlitres.

    `device` is which of all devices gave it, and the boot it was in.
    """

    pump: str
    node: str
    attempt: str
    begin_ms: int
    end_ms: int
    volume_ul: float
    factor: float
    metered: bool
    device: tuple[int, str] = (0, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One entry as it became durable, with the truth about that moment.

    `vouched` says that the time service vouched for the clock, `heard_ms` when each
    node was truly heard last; `of` are the entry's own plain words and figures.
    """

    t_ms: int
    kind: str
    at: datetime
    boot: str
    vouched: bool
    heard_ms: Mapping[str, int]
    of: Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of a plan that people approved at some time."""

    starts: date
    count: int
    per_day_ul: int
    windows: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The caps of one pump, the widest of those that were ever approved."""

    per_dose_ul: int
    per_day_ul: int
    per_hour_ul: int | None
    per_calibration_ul: int
    smallest_ul: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All that the judge is shown.

    `signed` counts what people wrote, `foreign` are runs that another daemon asked for.
    `rewound` says before which rows an older file took the ledger's place. A machine
    that is put back whole, its witness too, or a file to a copy as new as its witness,
    may know nothing of attempts that are `forgotten`: for these the water is judged,
    and not what was written or sent; nor where another device, plugged in
    under the same name since, or one that has begun anew, was asked for them again.
    `by_one_beat` says that a single beat after a start is enough for this household;
    `beguiled` are beats that set the clock of a node ahead: node, moment, how far.
    """

    zone: str
    late_s: float
    deadline_ms: int
    cut_ms: int
    fresh_ms: int
    heads: Mapping[str, Head]
    lines: Sequence[tuple[str, Line]]
    flows: Sequence[Flow]
    rows: Sequence[Row]
    sent: Sequence[tuple[int, str]]
    signed: Counter[str] = field(default_factory=Counter)
    foreign: frozenset[str] = frozenset()
    rewound: Sequence[int] = ()
    forgotten: frozenset[str] = frozenset()
    by_one_beat: bool = False
    beguiled: Sequence[tuple[str, int, int]] = ()
