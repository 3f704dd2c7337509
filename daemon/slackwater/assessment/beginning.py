"""Tests from a time of which nobody told what was dosed.

Floor 3. One subject: where the evidence of an uptake may begin. Laws here: what came in
unrecorded is unknown and never 0; tests from then stand in the history and tell no
uptake; how many they are is said, with what would make them count.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta

from slackwater.assessment.inflow import ORIGIN, Inflow, outside_per_day
from slackwater.assessment.records import Notice, Series
from slackwater.facts.history import History
from slackwater.facts.tank import Machine

CODE = "before-the-ledger"


def evidence_begins(
    history: History, machine: Machine, inflow: Inflow
) -> datetime | None:
    """From when on what came in of a parameter is known; None: from ever.

    A declared outside source tells of every day; the first addition by hand before the
    ledger tells of the time from there on.
    """
    known = history.known_since
    declared = outside_per_day(machine, history.tank, inflow.parameter)
    if known is None or declared is not None:
        return None
    if inflow.hours:
        return min(known, ORIGIN + timedelta(days=inflow.hours[0]))
    return known


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
    tests = " and ".join(f"{count} of {name}" for name, count in left.items())
    yield Notice(
        code=CODE,
        weight="warning" if is_pressing else "note",
        parameter="",
        text=f"{sum(left.values())} test(s) tell no uptake ({tests}): they are from "
        f"before {known:%Y-%m-%d %H:%M} UTC, and what was dosed then is not known. "
        "Tell it with `slackwater added --at`, or, where nothing was dosed, with "
        "`slackwater event nothing_dosed --at`; else test on",
        figures=dict(left),
    )
