"""The runs of one calibration: what is to be taken, and what was taken by now.

Floor 8. One subject: runs by their number. Laws here: a run that was left out is the
next one to be taken, with the length it had; what is kept is told in the order of the
numbers.
"""

from dataclasses import dataclass, field

from slackwater.pump.flow import MeasuredRun

# Two runs of each length show a slip of the hand; more than so many, nobody reads well.
RUNS_FIRST, RUNS_AT_MOST = 4, 16
NL_PER_UL = 1000
MS_PER_S = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The runs to be taken of one pump, and the calibration in force so far.

    Units: microlitres of a shot of each run, the lengths take turns; nanolitres per
    second and nanolitres; `grams_per_litre` of what flows, 0 where it is not weighed.
    `runs` are taken, no more and no less; where it is None, as many as bring the flow
    within `within_percent`, and no more than `most_runs`. `one_length` says that the
    pump knows no other run.
    """

    pump: str
    volumes_ul: tuple[int, ...]
    rate_nl_per_s: int
    shots: int = 1
    runs: int | None = None
    within_percent: float = 0.0
    most_runs: int = RUNS_AT_MOST
    offset_nl: int = 0
    grams_per_litre: int = 0
    one_length: bool = False

    def shot_ul(self, number: int) -> int:
        """What each shot of a run asks; the first run is number 0."""
        return self.volumes_ul[number % len(self.volumes_ul)]

    def total_ul(self, runs: int) -> int:
        """What so many runs ask together."""
        return self.shots * sum(self.shot_ul(number) for number in range(runs))

    def expected_ul(self, ran_ms: int) -> float:
        """What a run gives by the calibration in force, microlitres."""
        flowed_nl = self.rate_nl_per_s * ran_ms / MS_PER_S
        return (flowed_nl + self.shots * self.offset_nl) / NL_PER_UL

    def times_expected(self, ran_ms: int, volume_ul: int) -> float:
        """How many times what the calibration in force gives came out of a run."""
        return volume_ul / max(self.expected_ul(ran_ms), 1.0)


@dataclass(slots=True)
class Taken:
    """What was measured by now, by the number of the run, in the order of reading.

    `in_cylinder` is the run that flowed and is not read yet.
    """

    runs: dict[int, MeasuredRun] = field(default_factory=dict)
    in_cylinder: int | None = None
    is_enough: bool = False

    @property
    def next_number(self) -> int:
        """The first run that is missing."""
        return next(n for n in range(len(self.runs) + 1) if n not in self.runs)

    @property
    def is_whole(self) -> bool:
        """Whether no run between two others was left out."""
        return self.next_number == len(self.runs)

    @property
    def newest(self) -> int:
        """The run that was read last; there must be one."""
        return next(reversed(self.runs))

    def in_order(self) -> tuple[MeasuredRun, ...]:
        """The runs in the order of their numbers."""
        return tuple(run for _, run in sorted(self.runs.items()))

    def missing_ul(self, series: Series, number: int) -> int:
        """What a run and those that must be taken as well ask together."""
        planned = range(RUNS_FIRST if series.runs is None else series.runs)
        flowed = {*self.runs, self.in_cylinder} - {number}
        wanted = {*planned, number} - flowed
        return series.shots * sum(map(series.shot_ul, wanted))
