"""Whether a bottle lost more than its pumps took: a siphon, a leak, a fall.

Floor 3. One subject: what went astray between levels. Laws here: every level since the
newest fill is judged, beside the one before it and beside that fill, whether a pump ran
or not; a loss stands until somebody tells a fill, for a level that reads well again may
be a bottle that was topped up; what a pump gives too much is the law of drift.
Source: levels are limits of an even spread, an interval is twice the standard
deviation (JCGM 100:2008, 4.3.7 and 6.2.1); the least share and a rate that may be off
by a tenth are common practice, no source.
"""

from collections.abc import Iterator
from math import hypot, sqrt
from typing import NamedTuple

from slackwater.facts.inventory import COVERAGE, EVEN, RUN_SD, UNMEASURED_SD
from slackwater.facts.state import Interval, State
from slackwater.facts.tank import Machine

# What foam, a tilted bottle or a sample taken from it may amount to.
LEAST_PERCENT = 5


class _Span(NamedTuple):
    """What is missing from one level to a later one, and what that rests on.

    `begin_ul` and `end_ul` are how far the two levels may be off.
    """

    missing_ul: int
    believed_ul: int
    runs: int
    begin_ul: int
    end_ul: int


def lost_ul(machine: Machine, state: State, reservoir: str) -> int:
    """Microlitres that went astray since the newest fill, 0 where none did for sure."""
    least = least_ul(machine, reservoir)
    found = (one.missing_ul for one in _spans(state, reservoir, least) if _is_lost(one))
    return max(found, default=0)


def least_ul(machine: Machine, reservoir: str) -> int:
    """What must be missing at least: a share of the bottle, or its largest dose."""
    doses = [p.per_dose_ul for p in machine.pumps.values() if p.reservoir == reservoir]
    held_ul = machine.reservoirs[reservoir].content_ul
    return max([held_ul * LEAST_PERCENT // 100, *doses])


def _is_lost(one: _Span) -> bool:
    """Whether more is missing than levels and books may be off.

    The books count as if nobody had measured the pumps: no calibration that is made
    later makes a loss of it, or ends one.
    """
    runs_sd = RUN_SD / sqrt(max(one.runs, 1))
    books_ul = one.believed_ul * hypot(UNMEASURED_SD, runs_sd)
    off_ul = COVERAGE * hypot(one.begin_ul / EVEN, one.end_ul / EVEN, books_ul)
    return one.missing_ul > off_ul


def _spans(state: State, reservoir: str, least: int) -> Iterator[_Span]:
    """From each level, and from the fill, to the next level, where more is missing.

    Asked at each dose, for up to a year of levels: hardly any misses so much.
    """
    missing_ul = believed_ul = runs = 0
    known = _since_fill(state, reservoir)
    for one in known:
        own_ul = one.used_ul - one.believed_ul
        missing_ul += own_ul
        believed_ul += one.believed_ul
        runs += one.runs
        if own_ul > least:
            yield _Span(own_ul, one.believed_ul, one.runs, one.begin_ul, one.end_ul)
        if missing_ul > least:
            yield _Span(missing_ul, believed_ul, runs, known[0].begin_ul, one.end_ul)


def _since_fill(state: State, reservoir: str) -> list[Interval]:
    """The newest intervals that follow each other; a fill begins anew."""
    fill = state.fills.get(reservoir)
    expected = None if fill is None else fill.since
    found: list[Interval] = []
    for one in reversed(state.intervals.get(reservoir, [])):
        if one.ended_at != expected:
            break
        found.append(one)
        expected = one.began_at
    return found[::-1]
