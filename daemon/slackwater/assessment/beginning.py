"""Tests from a time of which nobody told what was dosed.

Floor 3. One subject: where the evidence of an uptake may begin. Laws here: what came in
unrecorded is unknown and never 0; tests from then stand in the history and tell no
uptake; how many they are is said, with what would make them count.
"""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from slackwater.assessment.inflow import ORIGIN, Inflow, day_of, outside_per_day
from slackwater.assessment.records import Notice, Series
from slackwater.facts.history import History
from slackwater.facts.tank import Machine
from slackwater.water.show import show_count

CODE = "before-the-ledger"
# Whoever doses by hand does so twice a week at least: a longer pause is a time of which
# nobody told, and one early entry tells of nothing after it. Common practice, no
# source.
TOLD_WITHIN_DAYS = 3.0


def evidence_begins(
    history: History, machine: Machine, inflow: Inflow
) -> datetime | None:
    """From when on what came in of a parameter is known; None: from ever.

    A declared outside source tells of every day. Additions by hand before the ledger
    tell of the time between them: from the first of those on that follow each other,
    up to the ledger, without a longer pause than `TOLD_WITHIN_DAYS`.
    """
    known = history.known_since
    declared = outside_per_day(machine, history.tank, inflow.parameter)
    if known is None or declared is not None:
        return None
    return ORIGIN + timedelta(days=_told_from(inflow.days, day_of(known)))


def known_inflow(history: History, machine: Machine, inflow: Inflow) -> Inflow:
    """The same inflow, which says from when on it is all there is."""
    begins = evidence_begins(history, machine, inflow)
    return inflow if begins is None else replace(inflow, known_from=day_of(begins))


def _told_from(days: Sequence[float], known_day: float) -> float:
    """The day from which additions tell of every day until what is known begins."""
    begins = known_day
    for day in reversed(days[: bisect_left(days, known_day)]):
        if begins - day > TOLD_WITHIN_DAYS:
            break
        begins = day
    return begins


def tests_before(
    all_series: Sequence[Series], since: datetime, begins: datetime | None
) -> int:
    """How many tests from `since` on lie before what is known."""
    if begins is None:
        return 0
    return sum(
        since <= point.at < begins
        for series in all_series
        for point in series.points
        if not point.censored
    )


def before_notice(
    counts: Mapping[str, int], history: History, *, is_pressing: bool
) -> Iterator[Notice]:
    """One sentence about all tests that were left out; nothing where none were."""
    left = {name: count for name, count in sorted(counts.items()) if count}
    known = history.known_since
    if not left or known is None:
        return
    tests = ", ".join(f"{count} of {name}" for name, count in left.items())
    yield Notice(
        code=CODE,
        weight="warning" if is_pressing else "note",
        parameter="",
        text=f"{_telling_none(sum(left.values()), tests)} from before "
        f"{known:%Y-%m-%d %H:%M} UTC, and what was dosed then is not known. "
        "Tell each dose of that time with `slackwater added --at`, or, where nothing "
        "was dosed, with `slackwater event nothing_dosed --at`; else test on",
        figures=dict(left),
    )


def _telling_none(count: int, tests: str) -> str:
    verb, pronoun = ("tells", "it is") if count == 1 else ("tell", "they are")
    return f"{show_count(count, 'test')} {verb} no uptake ({tests}): {pronoun}"
