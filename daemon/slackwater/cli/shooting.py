"""Timed shots and what a person reads off a cylinder or a scale.

Floor 8. One subject: the dialogue of measuring a pump. Laws here: a measurement that
cannot be right ends it at once, before more liquid is spent on what cannot be kept;
it goes on until the flow is known well enough, and ends where a cap, the most runs or
the person who measures ends it; nobody is taken to be sure of a large change who does
not say so.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import ceil

import click

from slackwater.cli.commissioning import say
from slackwater.cli.questions import ask_ul, ask_ul_or, is_asked_again, tell_again
from slackwater.cli.typed import typed_ul
from slackwater.cli.weighing import measured_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.releases import way_out
from slackwater.pump.flow import Flow, MeasuredRun, flow_of, not_kept
from slackwater.service.calibrating import Shot, Wait, Watch
from slackwater.water.show import show_volume

# Beyond these ratios to the last rate a slip is likelier than wear (hazard H57).
REFUSED_BELOW, REFUSED_ABOVE = 0.5, 2.0
AGAIN_BELOW, AGAIN_ABOVE = 0.8, 1.25
YES = frozenset({"y", "yes"})
NL_PER_UL = 1000
MS_PER_S = 1000

# Two runs of each length show a slip of the hand; more than so many, nobody reads well.
RUNS_FIRST, RUNS_AT_MOST = 4, 16
ENOUGH = "enough"

Shoot = Callable[[str, int, Watch], Shot]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the runs came to; `ratio` of the rate to the one in force before."""

    flow: Flow
    runs: tuple[MeasuredRun, ...]
    ratio: float

    @property
    def shots(self) -> int:
        """How many shots there were in all."""
        return sum(run.shots for run in self.runs)

    @property
    def volume_ul(self) -> int:
        """What they gave together, microlitres."""
        return sum(run.volume_ul for run in self.runs)


def is_yes(question: str) -> bool:
    """Whether a person answers with a plain yes."""
    asked = fitted(f"{question} [yes/no]", error_columns())
    typed = str(click.prompt(asked, err=True)).strip().lower()
    return typed in YES


def prime(shoot: Shoot, pump: str) -> None:
    """Fill the hose until a person says that it is full.

    Raises: InputError for what is neither a yes nor a volume; whatever the run raises.
    """
    question = "Is the hose full to its end, without bubbles? [yes, or how much to "
    question += "pump first, like 3 mL]"
    while (volume_ul := ask_ul_or(question, "hose", YES, _some_ul)) is not None:
        say(f"Priming {show_volume(volume_ul)} …")
        shoot(pump, volume_ul, _wait_teller())


def _some_ul(text: str, place: str) -> int:
    """A typed volume that can be pumped."""
    if volume_ul := typed_ul(text, place):
        return volume_ul
    raise InputError(
        Finding(
            what=f'"{text}" is nothing to pump',
            where=place,
            expected="more than 0 mL, or yes",
            do="Say yes when the hose is full to its end.",
        )
    )


def measure(shoot: Shoot, series: Series, room_ul: Callable[[], int]) -> Measured:
    """Run, ask after each run what was measured, and judge what was typed.

    `room_ul` says what may still flow in this hour.
    Raises: InputError for what is no volume; RefusedError when the runs contradict
    each other or the calibration in force, or when nobody is sure of a large change.
    """
    runs: list[MeasuredRun] = []
    while _goes_on(series, runs, room_ul):
        run = _run(shoot, series, len(runs))
        if run is None:
            break
        runs.append(run)
    flow = _flow(series, runs)
    ratio = flow.rate_nl_per_s / series.rate_nl_per_s
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        raise RefusedError(_far(f"the rate is {ratio:.2f} times the one in force"))
    if not AGAIN_BELOW <= ratio <= AGAIN_ABOVE and not is_yes(
        f"The rate is {ratio:.2f} times the one in force. Measured twice, and sure?"
    ):
        raise RefusedError(not_kept("a large change was not confirmed", "yes"))
    return Measured(flow=flow, runs=tuple(runs), ratio=ratio)


def _flow(series: Series, runs: Sequence[MeasuredRun]) -> Flow:
    flow = flow_of(runs, one_length=series.one_length)
    if isinstance(flow, Finding):
        raise RefusedError(flow)
    return flow


def _goes_on(
    series: Series, runs: Sequence[MeasuredRun], room_ul: Callable[[], int]
) -> bool:
    """Whether one more run is taken; says how well the flow is known by now."""
    count, lengths = len(runs), len(series.volumes_ul)
    if series.runs is not None:
        return count < series.runs
    # Judged once each length has had its turn as often as the others.
    if count < RUNS_FIRST or count % lengths:
        return True
    flow = _flow(series, runs)
    known = f"By now the flow is known to ±{flow.within_percent:.2f} %"
    if flow.within_percent <= series.within_percent:
        say(f"{known}: well enough.")
        return False
    wanted = f"{known}; ±{series.within_percent:g} % is wanted"
    if count + lengths > series.most_runs:
        say(f"{wanted}. {count} runs are the most; it ends here.")
        return False
    more = _runs_more(series, count, flow)
    if series.total_ul(lengths) > (left_ul := room_ul()):
        say(
            f"{wanted}, and that takes about {more} runs more, "
            f"{show_volume(series.total_ul(more))}. No more than "
            f"{show_volume(left_ul)} may flow now; it ends here."
        )
        return False
    say(
        f"{wanted}: about {more} runs more, {show_volume(series.total_ul(more))}. "
        f'Type "{ENOUGH}" for a run to keep what there is.'
    )
    return True


def _runs_more(series: Series, count: int, flow: Flow) -> int:
    """About how many runs are missing: errors fall with the root of their number."""
    times = (flow.within_percent / series.within_percent) ** 2
    lengths = len(series.volumes_ul)
    more = ceil(count * (times - 1) / lengths) * lengths
    return min(max(more, lengths), series.most_runs - count)


def _run(shoot: Shoot, series: Series, number: int) -> MeasuredRun | None:
    """Shots of one length and what was measured of them; None for enough.

    What cannot be right ends it before the next run.
    """
    volume_ul = series.shot_ul(number)
    each = show_volume(volume_ul)
    shots = each if series.shots == 1 else f"{series.shots} shots of {each}"
    say(f"Run {number + 1}{_of(series)}: {shots} …")
    ran_ms, tell_wait = 0, _wait_teller()
    for _ in range(series.shots):
        shot = shoot(series.pump, volume_ul, tell_wait)
        if shot.ran_ms <= 0:
            raise RefusedError(not_kept("a shot has no run time", "a reported time"))
        ran_ms += shot.ran_ms
    found_ul = _believed(series, number, ran_ms)
    if found_ul is None:
        return None
    return MeasuredRun(ran_ms=ran_ms, volume_ul=found_ul, shots=series.shots)


def _believed(series: Series, number: int, ran_ms: int) -> int | None:
    """What was measured of a run, if that can be; None for enough.

    Who sits at a terminal may have mistyped and is asked again: what is said twice was
    meant. Raises: RefusedError for what cannot be right.
    """
    before_ul = None
    while (found_ul := _measured(series, number)) is not None:
        try:
            _refuse_far(found_ul, ran_ms, series)
        except RefusedError as error:
            if found_ul == before_ul or not is_asked_again():
                raise
            tell_again(error)
            before_ul = found_ul
        else:
            return found_ul
    return None


def _of(series: Series) -> str:
    return f" of {series.runs}" if series.runs is not None else ""


def _measured(series: Series, number: int) -> int | None:
    """What a person measured of a run, microlitres; None for enough."""
    read = partial(measured_ul, grams_per_litre=series.grams_per_litre)
    place = f"run {number + 1}"
    if series.runs is None and number >= RUNS_FIRST:
        return ask_ul_or(_question(series), place, (ENOUGH,), read)
    return ask_ul(_question(series), place, read)


def _question(series: Series) -> str:
    if series.grams_per_litre:
        return "Weighed or measured (for example 2.15 g or 2.05 mL)"
    return "Measured in the cylinder (for example 2.05 mL)"


def _refuse_far(found_ul: int, ran_ms: int, series: Series) -> None:
    """Refuse one measurement that cannot be right, whatever the others say."""
    if found_ul <= 0:
        raise RefusedError(not_kept("a run gave nothing", "a volume in the cylinder"))
    ratio = found_ul / max(series.expected_ul(ran_ms), 1.0)
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        what = (
            f"{show_volume(found_ul)} in {ran_ms / MS_PER_S:.1f} s is "
            f"{ratio:.2f} times what the calibration in force gives"
        )
        raise RefusedError(_far(what))


def _far(what: str) -> Finding:
    return not_kept(what, f"between {REFUSED_BELOW:g} and {REFUSED_ABOVE:g} times")


def _wait_teller() -> Watch:
    """Says why a shot waits, each reason once: behind a relay every shot does."""
    told: set[str] = set()

    def tell(waits: tuple[Wait, ...]) -> None:
        for wait in waits:
            if wait.reason.text not in told:
                told.add(wait.reason.text)
                say(f"  waits: {_wait_words(wait)}")

    return tell


def _wait_words(wait: Wait) -> str:
    """Why it waits and what ends that."""
    if wait.hold:
        return f"{wait.reason.text} End it: `slackwater release {wait.hold}`."
    return f"{wait.reason.text} {way_out(wait.reason.code)}"
