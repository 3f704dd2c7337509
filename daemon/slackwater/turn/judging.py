"""From verdicts on series to entries: what changed, and what it stops.

Floor 4. One subject: judging when there is news of the water. Laws here: an entry is
written when a verdict changes and not again; too much latches, all else only shortens;
a verdict that shortens ends after several good readings and a minimum time.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from slackwater.facts.events import AnyEvent
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.messages import Reading
from slackwater.facts.tank import AlkalinityGuard
from slackwater.gate.alkalinity import is_out
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.gate.swings.hand_tests import judge_tests
from slackwater.gate.swings.judging import is_due, judge_probe
from slackwater.gate.swings.verdicts import Steady, TooLittle, Verdict
from slackwater.pump.outcome import Stamp
from slackwater.turn.watching import hear_news

# A test is judged while it may be news: a person's clock is read a little before the
# ledger is written, and the turn may come between.
NEWS = timedelta(minutes=2)


def judge_reading(moment: Moment, reading: Reading, stamp: Stamp) -> Iterator[AnyEvent]:
    """What the newest reading of an alkalinity probe makes of its series."""
    probe = moment.machine.probes.get(reading.probe)
    course = moment.sight.courses.get(reading.probe)
    if reading.parameter != ALKALINITY or probe is None or course is None:
        return
    if is_out(moment, probe.id) or not is_due(course, probe):
        return
    verdict = judge_probe(moment, probe, course)
    source = (f"probe/{probe.id}", probe.tank, reading.at)
    yield from _changes(moment, source, verdict, stamp)


def judge_news(moment: Moment, stamp: Stamp) -> Iterator[AnyEvent]:
    """What new hand tests make of theirs; nothing where none is new."""
    for tank, tests in moment.state.tests.items():
        if not tests or tank not in moment.machine.tanks:
            continue
        previous = moment.sight.previous
        if previous is None or max(t.at for t in tests) > previous.utc - NEWS:
            verdict = judge_tests(moment, tank)
            source = (f"hand/{tank}", tank, tests[-1].taken_at)
            yield from _changes(moment, source, verdict, stamp)


def _changes(
    moment: Moment, about: tuple[str, str, datetime], verdict: Verdict, stamp: Stamp
) -> Iterator[AnyEvent]:
    source, tank, taken_at = about
    known = moment.state.judged.get(source)
    if _is_no_news(moment, known, verdict, tank):
        return
    judged = SeriesJudged(
        **stamp,
        tank=tank,
        source=source,
        verdict=verdict.name,
        taken_at=taken_at,
        reason=verdict.reason(source),
        excess=verdict.excess,
        figures=verdict.figures if isinstance(verdict, Steady | TooLittle) else {},
    )
    yield judged
    yield from hear_news(moment, judged, stamp)


def _is_no_news(
    moment: Moment, known: SeriesJudged | None, verdict: Verdict, tank: str
) -> bool:
    """Whether the same is said already, or a verdict may not end yet."""
    if known is None:
        return isinstance(verdict, Steady | TooLittle)
    if (known.verdict, known.excess) == (verdict.name, verdict.excess):
        return True
    if not isinstance(verdict, Steady | TooLittle):
        return False
    return known.reason is not None and not _may_end(moment, known, verdict, tank)


def _may_end(
    moment: Moment, known: SeriesJudged, verdict: Steady | TooLittle, tank: str
) -> bool:
    """Whether enough readings are good for long enough; silence ends nothing."""
    guard: AlkalinityGuard | None = moment.machine.guards.get(tank)
    if isinstance(verdict, TooLittle) or verdict.since is None:
        return False
    if guard is None:
        return True
    held = timedelta(seconds=guard.hold_at_least_s)
    is_long = moment.now.utc - max(known.at, verdict.since) >= held
    return is_long and verdict.good >= guard.good_readings
