"""What can be said of a series, each with its figures.

Floor 3. One subject: six verdicts. Laws here: every verdict gives the reason it leads
to, if any, with its figures; `excess` says that there is too much, which stops; all
else shortens at most.
Units: meq/L; times aware UTC.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

from slackwater.facts import judgements
from slackwater.facts.reasons import Code, Figure, Reason, because


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """The series goes as predicted; `good` readings in a row do, since `since`.

    `off` is how far the newest lies from its prediction, `sd` the error of one; both
    are 0 where the last day has none that can be judged.
    """

    name: ClassVar[judgements.Verdict] = "steady"
    excess: ClassVar[bool] = False
    good: int
    since: datetime | None
    off: float = 0.0
    sd: float = 0.0

    @property
    def figures(self) -> dict[str, Figure]:
        """What it is told by."""
        since = None if self.since is None else self.since.isoformat(timespec="seconds")
        return {
            "good_readings": self.good,
            "since": since,
            "off_meq_per_l": round(self.off, 3),
            "noise_meq_per_l": round(self.sd, 3),
        }

    def reason(self, source: str) -> Reason | None:
        """None: a source that is well needs no reason."""
        del source
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class TooLittle:
    """There is not enough to judge by yet; `why` says what is missing.

    `have` counts what there is of it, where that can be counted.
    """

    name: ClassVar[judgements.Verdict] = "too-little"
    excess: ClassVar[bool] = False
    why: str
    have: int | None = None

    @property
    def figures(self) -> dict[str, Figure]:
        """What it is told by."""
        return {"why": self.why, "have": self.have}

    def reason(self, source: str) -> Reason | None:
        """None: what is not known here is watched by other interlocks."""
        del source
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """The water left its predicted course by `size`, and a retest says the same.

    `size` is below 0 for a fall, `sd` the error of one reading; `votes` are the tests
    that say so; `points` readings lie beyond since `since`; `outliers` were left out.
    """

    size: float
    sd: float
    since: datetime
    votes: tuple[str, ...]
    points: int
    outliers: int

    @property
    def name(self) -> judgements.Verdict:
        """Which way it goes."""
        return "swing-up" if self.excess else "swing-down"

    @property
    def excess(self) -> bool:
        """Whether there is too much."""
        return self.size > 0

    def reason(self, source: str) -> Reason:
        """A swing with its votes."""
        up = Code.ALKALINITY_SWING_UP
        return because(
            up if self.excess else Code.ALKALINITY_SWING_DOWN,
            source=source,
            off_meq_per_l=round(self.size, 3),
            noise_meq_per_l=round(self.sd, 3),
            since=self.since.isoformat(timespec="seconds"),
            votes=", ".join(self.votes),
            readings=self.points,
            outliers=self.outliers,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeFault:
    """The source itself is not to be trusted; `figures` say why.

    `usual_noise` is what its noise was while it was sound, 0 where noise is not it.
    """

    name: ClassVar[judgements.Verdict] = "probe-fault"
    excess: ClassVar[bool] = False
    how: str
    figures: dict[str, float] = field(default_factory=dict)
    usual_noise: float = 0.0

    def reason(self, source: str) -> Reason:
        """A fault with its figures."""
        return because(
            Code.ALKALINITY_PROBE_FAULT,
            source=source,
            how=self.how,
            usual_noise_meq_per_l=round(self.usual_noise, 5),
            **self.figures,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseFault:
    """A swing that begins with a dose of one pump and is as large as it.

    `size` is above 0 where the dose seems to have come twice, below 0 where it seems
    not to have come; `dose` is what it should have done.
    """

    name: ClassVar[judgements.Verdict] = "dose-fault"
    pump: str
    dose: float
    size: float
    since: datetime
    votes: tuple[str, ...]

    @property
    def excess(self) -> bool:
        """Whether there is too much."""
        return self.size > 0

    def reason(self, source: str) -> Reason:
        """A fault with the pump and both sizes."""
        return because(
            Code.ALKALINITY_DOSE_FAULT,
            source=source,
            pump=self.pump,
            off_meq_per_l=round(self.size, 3),
            dose_meq_per_l=round(self.dose, 3),
            since=self.since.isoformat(timespec="seconds"),
            votes=", ".join(self.votes),
        )


Verdict = Steady | TooLittle | Swing | ProbeFault | DoseFault
