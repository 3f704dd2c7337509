"""Timed shots and what a person reads off a cylinder or a scale.

Floor 8. One subject: the dialogue of measuring a pump. Laws here: a measurement that
cannot be right ends it at once, before more liquid is spent on what cannot be kept;
it goes on until the flow is known well enough, and ends where a cap, the most runs or
the person who measures ends it; nobody is taken to be sure of a large change who does
not say so.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

import click

from slackwater.cli.commissioning import say
from slackwater.cli.questions import ask_ul_or
from slackwater.cli.read_off import (
    BACK,
    ENOUGH,
    REFUSED_ABOVE,
    REFUSED_BELOW,
    TAKING_BACK,
    Room,
    far,
    is_settled,
    may_flow_again,
    read_anew,
    read_off,
    words_at,
)
from slackwater.cli.series import RUNS_FIRST, Series, Taken
from slackwater.cli.typed import typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.releases import way_out
from slackwater.pump.flow import Flow, MeasuredRun, flow_of, not_kept
from slackwater.service.calibrating import Shot, Wait, Watch
from slackwater.water.show import show_volume

# Beyond these ratios to the last rate a person is asked (hazard H57).
AGAIN_BELOW, AGAIN_ABOVE = 0.8, 1.25
YES = frozenset({"y", "yes"})

Shoot = Callable[[str, int, Watch], Shot]


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


def measure(shoot: Shoot, series: Series, room_ul: Room) -> Measured:
    """Run, ask after each run what was measured, and judge what was typed.

    `room_ul` says what may still flow in this hour.
    Raises: InputError for what is no volume; RefusedError when the runs contradict
    each other or the calibration in force, or when nobody is sure of a large change.
    """
    taken, is_done = Taken(), False
    say(TAKING_BACK)
    while not is_done:
        while _goes_on(series, taken, room_ul):
            _run(shoot, series, taken, room_ul)
        flow = flow_of(taken.in_order(), one_length=series.one_length)
        is_done = is_settled(series, taken, flow, room_ul)
    return _judged(series, taken, flow)


def _judged(series: Series, taken: Taken, flow: Flow | Finding) -> Measured:
    """What the runs came to, if it can be, beside the calibration in force."""
    if isinstance(flow, Finding):
        raise RefusedError(flow)
    ratio = flow.rate_nl_per_s / series.rate_nl_per_s
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        raise RefusedError(far(f"the rate is {ratio:.2f} times the one in force"))
    if not AGAIN_BELOW <= ratio <= AGAIN_ABOVE and not is_yes(
        f"The rate is {ratio:.2f} times the one in force. Measured twice, and sure?"
    ):
        raise RefusedError(not_kept("a large change was not confirmed", "yes"))
    return Measured(flow=flow, runs=taken.in_order(), ratio=ratio)


def _goes_on(series: Series, taken: Taken, room_ul: Room) -> bool:
    """Whether one more run is taken; says how well the flow is known by now."""
    count, lengths = len(taken.runs), len(series.volumes_ul)
    if taken.is_enough:
        return False
    if series.runs is not None:
        return count < series.runs
    # Judged once each length has had its turn as often as the others.
    if count < RUNS_FIRST or count % lengths or not taken.is_whole:
        return True
    flow = flow_of(taken.in_order(), one_length=series.one_length)
    return isinstance(flow, Flow) and _is_wanting(series, count, flow, room_ul)


def _is_wanting(series: Series, count: int, flow: Flow, room_ul: Room) -> bool:
    """Whether more runs are wanted to know the flow, and may flow; says which."""
    lengths = len(series.volumes_ul)
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


def _run(shoot: Shoot, series: Series, taken: Taken, room_ul: Room) -> None:
    """Take the next run and what was measured of it, or the word that was typed.

    What cannot be right ends it before the next run.
    """
    number = taken.next_number
    ran_ms, taken.in_cylinder = _shots(shoot, series, number), number
    while True:
        words = words_at(series, taken, number)
        found = read_off(series, number, ran_ms, words)
        if not isinstance(found, str):
            taken.runs[number] = MeasuredRun(
                ran_ms=ran_ms, volume_ul=found, shots=series.shots
            )
            return
        if found == BACK:
            read_anew(series, taken, taken.newest, room_ul())
        elif found == ENOUGH:
            taken.is_enough = True
            return
        elif may_flow_again(series, taken, number, room_ul()):
            return


def _shots(shoot: Shoot, series: Series, number: int) -> int:
    """The shots of one run; how long the output was on in all, milliseconds."""
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
    return ran_ms


def _of(series: Series) -> str:
    return f" of {series.runs}" if series.runs is not None else ""


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
