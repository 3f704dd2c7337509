"""What is missing or too old, what to test again, and which kit to try on a standard.

Floor 3. One subject: tests to make. Laws here: a test is asked for by a date; what a
pump adds is tested before what only matters; a disagreement is answered by a standard.
"""

from collections.abc import Iterator
from datetime import timedelta

from slackwater.assessment.agreement import Agreement
from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import ALKALINITY, CORE, SALINITY, shelf_days
from slackwater.assessment.records import Advice, Missing
from slackwater.assessment.series import apart_words
from slackwater.assessment.trace_bands import is_trace
from slackwater.water.parameters import PARAMETERS

RANK_STANDARD = 45
RANK_RETEST = 50
RANK_MISSING = 62
RANK_LATER = 95
RETEST_DAYS = 1.0
# Alkalinity is asked for before salinity, before the elements: common practice.
_FIRST = (ALKALINITY, SALINITY)
# A test that falls due within so many days is named.
SOON_DAYS = 3.0
_NOT_TESTED = frozenset({"carbon"})


def missing_tests(picture: Picture) -> tuple[Missing, ...]:
    """Tests that are not there, too old, or due soon; the most urgent first."""
    wanted = [*CORE, *sorted((picture.dosed | set(picture.tank.targets)) - set(CORE))]
    found = [
        missing
        for parameter in wanted
        if parameter not in _NOT_TESTED
        and (missing := _missing(parameter, picture)) is not None
    ]
    return tuple(sorted(found, key=lambda one: (one.rank, one.parameter)))


def advice_to_test(picture: Picture) -> Iterator[Advice]:
    """Retests and standards; a core test that is missing or too old is one too."""
    for parameter in sorted(picture.series):
        held = picture.held(parameter)
        if held is not None:
            day = picture.day(held.at)
            why = f"the result of {day} does not fit what went before"
            if held.apart:
                words = apart_words(parameter, held)
                why = f"the results of {day} contradict each other, {words}"
            yield Advice(
                remedy="retest",
                parameter=parameter,
                text=f"Test {parameter} again: {why}.",
                due_on=picture.due(RETEST_DAYS),
                rank=RANK_RETEST,
                figures={"held": held.value},
            )
        disputed = picture.disputed(parameter)
        if disputed is not None:
            yield _standard(parameter, disputed, picture)
    for missing in missing_tests(picture):
        if missing.rank < RANK_LATER:
            yield Advice(
                remedy="retest",
                parameter=missing.parameter,
                text=missing.text,
                due_on=missing.due_on,
                rank=missing.rank,
            )


def _standard(parameter: str, disputed: Agreement, picture: Picture) -> Advice:
    newest = disputed.newest
    return Advice(
        remedy="test_a_standard",
        parameter=parameter,
        text=f"Laboratory and home test of {parameter} disagree: test a standard with "
        "the kit before anything is corrected.",
        due_on=picture.due(RETEST_DAYS),
        rank=RANK_STANDARD,
        figures={"difference": newest.difference, "sd": newest.sd},
    )


def _missing(parameter: str, picture: Picture) -> Missing | None:
    found = picture.standings.get(parameter)
    rank = RANK_MISSING if parameter in _FIRST else RANK_MISSING + 2
    if parameter not in CORE and parameter not in picture.dosed:
        rank = RANK_LATER
    name = PARAMETERS[parameter].name
    way = f"Send a sample for {name}" if is_trace(parameter) else f"Test {name}"
    if found is None or found.sampled_at is None:
        posted = any(
            one.provenance == "lab" for one in picture.series.get(parameter, ())
        )
        known = "no test at the tank" if posted else "no result"
        return Missing(
            parameter=parameter,
            text=f"{way}: {known} is known.",
            due_on=picture.today,
            rank=rank,
        )
    due_at = found.sampled_at + timedelta(days=shelf_days(parameter))
    age_days = (picture.now - found.sampled_at) / timedelta(days=1)
    if due_at - picture.now > timedelta(days=SOON_DAYS):
        return None
    is_old = due_at < picture.now
    newest = "the newest result"
    if found.waiting is not None:
        # Nobody tests less because of a test that does not fit.
        day = picture.day(found.waiting.at)
        newest = f"the result of {day} stands apart, and the newest that fits"
    return Missing(
        parameter=parameter,
        text=f"{way}{' again' if found.waiting else ''}: {newest} is {age_days:.0f} "
        "days old"
        f"{'.' if is_old else f' and counts until {picture.day(due_at)}.'}",
        due_on=picture.today if is_old else picture.day(due_at),
        rank=rank if is_old else RANK_LATER,
        age_days=age_days,
    )
