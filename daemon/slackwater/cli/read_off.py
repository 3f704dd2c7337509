"""What a person reads off a cylinder or a scale, and how a reading is taken back.

Floor 8. One subject: the reading of one run. Laws here: a reading that cannot be right
is refused before the next run; one that was wrong costs its run and not all the others;
what a run pumped stays charged, whether it is kept or not.
"""

from collections.abc import Callable, Collection
from dataclasses import replace
from functools import partial

import click

from slackwater.cli.commissioning import say
from slackwater.cli.questions import ask_word_or_ul, is_asked_again, tell_again
from slackwater.cli.series import MS_PER_S, RUNS_FIRST, Series, Taken
from slackwater.cli.weighing import measured_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, RefusedError
from slackwater.pump.flow import Flow, not_kept
from slackwater.water.show import show_volume

# Beyond these ratios to the last rate a slip is likelier than wear (hazard H57).
REFUSED_BELOW, REFUSED_ABOVE = 0.5, 2.0
ENOUGH, AGAIN, BACK = "enough", "again", "back"
# What may be typed instead of a reading; said once, before the first run.
TAKING_BACK = (
    f'Instead of a reading, "{AGAIN}" lets a run flow once more, where it was spilled '
    f'or mixed; "{BACK}" reads the run before anew. What flowed stays charged.'
)
NONE_WRONG = frozenset({"no", "n"})

Room = Callable[[], int]


def words_at(series: Series, taken: Taken, number: int) -> tuple[str, ...]:
    """The words that may stand for the reading of a run."""
    back = (BACK,) if taken.runs else ()
    may_end = series.runs is None and number >= RUNS_FIRST
    return (AGAIN, *back, *((ENOUGH,) if may_end else ()))


def read_off(
    series: Series, number: int, ran_ms: int, words: Collection[str]
) -> int | str:
    """What was measured of a run, microlitres, if that can be; or one of the words.

    Who sits at a terminal may have mistyped and is asked again: what is said twice was
    meant. Raises: InputError for what is no volume, RefusedError for what cannot be
    right.
    """
    read = partial(measured_ul, grams_per_litre=series.grams_per_litre)
    question, place = _question(series), f"run {number + 1}"
    before_ul = None
    while True:
        found_ul = ask_word_or_ul(question, place, words, read)
        if isinstance(found_ul, str):
            return found_ul
        try:
            _refuse_far(found_ul, ran_ms, series)
        except RefusedError as error:
            if found_ul == before_ul or not is_asked_again():
                raise
            tell_again(error)
            before_ul = found_ul
        else:
            return found_ul


def read_anew(series: Series, taken: Taken, number: int, room_ul: int) -> None:
    """Another reading of a run that was read before, or leave it out to take it again.

    `room_ul` is what may still flow.
    Raises: as `read_off`; RefusedError where it may not flow again.
    """
    run = taken.runs[number]
    say(
        f"Run {number + 1} was {show_volume(run.volume_ul)}. Say what it was, or "
        f'"{AGAIN}" to leave it out and let it flow once more.'
    )
    found = read_off(series, number, run.ran_ms, (AGAIN,))
    if not isinstance(found, str):
        taken.runs[number] = replace(run, volume_ul=found)
        return
    del taken.runs[number]
    if not may_flow_again(series, taken, number, room_ul):
        taken.runs[number] = run
        return
    taken.is_enough = False
    say(f"Run {number + 1} is left out and comes again; what it gave stays charged.")


def may_flow_again(series: Series, taken: Taken, number: int, room_ul: int) -> bool:
    """Whether a run, and those that are to come, still may flow; says why not.

    Raises: RefusedError where they may not and nobody can be asked.
    """
    needed_ul = taken.missing_ul(series, number)
    if needed_ul <= room_ul:
        return True
    error = RefusedError(_no_room(number, needed_ul, room_ul))
    if not is_asked_again():
        raise error
    tell_again(error)
    return False


def is_settled(series: Series, taken: Taken, flow: Flow | Finding, room: Room) -> bool:
    """Whether all runs were read right; what was not is read anew.

    Only who sits at a terminal is asked, of runs that contradict each other too.
    """
    if not is_asked_again():
        return True
    if isinstance(flow, Finding):
        say(f"This cannot be kept: {flow.what}; expected: {flow.expected}.")
    for number, run in sorted(taken.runs.items()):
        times = series.times_expected(run.ran_ms, run.volume_ul)
        say(
            f"  Run {number + 1}: {show_volume(run.volume_ul)}, {times:.3f} times what "
            "the calibration in force gives"
        )
    wrong = _asked_number(taken)
    if wrong is not None:
        read_anew(series, taken, wrong, room())
    return wrong is None


def far(what: str) -> Finding:
    """Why a rate or a reading so far from the calibration in force is not kept."""
    return not_kept(what, f"between {REFUSED_BELOW:g} and {REFUSED_ABOVE:g} times")


def _asked_number(taken: Taken) -> int | None:
    """The run that was read wrong, None for none of them."""
    question = "Was one of them read wrong? [no, or its number]"
    numbers = {str(number + 1): number for number in taken.runs}
    while True:
        typed = str(click.prompt(fitted(question, error_columns()), err=True))
        word = typed.strip().lower()
        if word in NONE_WRONG:
            return None
        if word in numbers:
            return numbers[word]


def _question(series: Series) -> str:
    if series.grams_per_litre:
        return "Weighed or measured (for example 2.15 g or 2.05 mL)"
    return "Measured in the cylinder (for example 2.05 mL)"


def _refuse_far(found_ul: int, ran_ms: int, series: Series) -> None:
    """Refuse one measurement that cannot be right, whatever the others say."""
    if found_ul <= 0:
        raise RefusedError(not_kept("a run gave nothing", "a volume in the cylinder"))
    ratio = series.times_expected(ran_ms, found_ul)
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        what = (
            f"{show_volume(found_ul)} in {ran_ms / MS_PER_S:.1f} s is "
            f"{ratio:.2f} times what the calibration in force gives"
        )
        raise RefusedError(far(what))


def _no_room(number: int, needed_ul: int, room_ul: int) -> Finding:
    return Finding(
        what=f"run {number + 1} cannot flow once more: with what is to come it takes "
        f"{show_volume(needed_ul)}",
        where=f"run {number + 1}",
        expected=f"at most {show_volume(max(room_ul, 0))} now",
        do="Type what it gave, or end with Ctrl-C and calibrate again in an hour.",
    )
