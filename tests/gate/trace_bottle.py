"""What can happen to the one bottle of a trace.

Each act tells the gate and the judge the same, as those of `trace_acts` do.
"""

from dataclasses import replace
from datetime import timedelta

from slackwater.facts.safeguards import ReservoirFilled
from slackwater.facts.state import Interval
from tests.gate.traces import DAY, Trace


def refill(trace: Trace) -> None:
    """Somebody filled it; what was lost before that is looked into."""
    content_ul = trace.chance.choice((0, 1_999, 2_000, 100_000, 100_001, 5_000_000))
    ago = trace.chance.choice((0.0, 89 * DAY, 90 * DAY))
    trace.told.append(f"filled {content_ul}, made {ago} ago")
    trace.judge.left_ul = content_ul
    trace.judge.astray_ul.clear()
    trace.judge.mixed_at = trace.judge.now - ago
    trace.write(
        ReservoirFilled(
            **trace.stamp,
            reservoir="one",
            content_ul=content_ul,
            mixed_at=trace.at.now.utc - timedelta(seconds=ago),
            by="keeper",
        )
    )


def lose(trace: Trace) -> None:
    """The levels of the one bottle say how much of what was believed left it."""
    ratio = trace.chance.choice((1.0, 0.79, 0.81, 1.19, 1.21))
    trace.told.append(f"the bottle lost {ratio} of what was believed")
    trace.judge.lost_of_believed = ratio
    now = trace.at.now.utc
    week = Interval(
        began_at=now - timedelta(days=7),
        ended_at=now,
        pumps=("mild",),
        used_ul=round(300_000 * ratio),
        believed_ul=300_000,
        runs=56,
        begin_ul=5_000,
        end_ul=5_000,
    )
    known = trace.at.state.intervals.get("one", [])
    quiet = [one for one in known if one.runs == 0]
    trace.at.state.intervals["one"] = [week, *quiet]


def leak(trace: Trace) -> None:
    """Between two levels nothing ran, and yet the bottle holds less."""
    fill = trace.at.state.fills.get("one")
    if fill is None or fill.since is None:
        return
    lost_ul = trace.chance.choice((100_000, 150_001, 250_000, 250_001))
    trace.told.append(f"the bottle lost {lost_ul} by itself")
    trace.judge.astray_ul.append(lost_ul)
    now = trace.at.now.utc
    night = Interval(
        began_at=fill.since,
        ended_at=now,
        pumps=("mild",),
        used_ul=lost_ul,
        believed_ul=0,
        runs=0,
        begin_ul=5_000,
        end_ul=5_000,
    )
    trace.at.state.intervals.setdefault("one", []).append(night)
    trace.at.state.fills["one"] = replace(fill, since=now)
