"""What a standing verdict takes from doses, and when it has worn off."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.judgements import SeriesJudged, Verdict
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, because
from slackwater.gate.moment import Moment
from slackwater.gate.watches import doubting
from tests.gate.scene import NOW, PROBE, dkh, moment, probed

CODES: dict[Verdict, Code] = {
    "swing-down": Code.ALKALINITY_SWING_DOWN,
    "dose-fault": Code.ALKALINITY_DOSE_FAULT,
    "probe-fault": Code.ALKALINITY_PROBE_FAULT,
}


def judged(
    verdict: Verdict, source: str = "probe/kh", hours_ago: float = 0.0
) -> SeriesJudged:
    """Said so many hours ago."""
    return SeriesJudged(
        at=NOW,
        boot_s=0.0,
        proven_ms=0,
        tank="reef",
        source=source,
        verdict=verdict,
        taken_at=NOW - timedelta(hours=hours_ago),
        reason=because(CODES[verdict]),
    )


def with_said(*said: SeriesJudged, probes: int = 1) -> Moment:
    """A tank of which these things are said."""
    names = ("kh", "two")[:probes]
    base = replace(probed(), probes={n: replace(PROBE, id=n) for n in names})
    at = moment(base)
    for one in said:
        at.state.judged[one.source] = one
    return at


def codes(at: Moment, tank: str = "reef") -> list[Code]:
    """What the doses of the tank are shortened for."""
    told = {f"alkalinity-{name}" for name in ("swing-down", "probe-fault", "dose-lost")}
    return [
        doubt.reason.code
        for row in doubting(frozenset())
        if row.name in told and row.doubts is not None
        for doubt in row.doubts(at, tank)
    ]


@pytest.mark.parametrize(("source", "lasts_h"), [("probe/kh", 26), ("hand/reef", 50)])
def test_h51_a_fall_wears_off(source: str, lasts_h: float) -> None:
    """Something of the last day; a hand tests once a day and may miss one."""
    still = with_said(judged("swing-down", source, lasts_h))
    assert [Code.ALKALINITY_SWING_DOWN] == codes(still)
    assert [] == codes(with_said(judged("swing-down", source, lasts_h + 0.1)))


def test_what_holds_does_not_shorten_as_well() -> None:
    """A hold says it; a source that is well says nothing; other tanks are others."""
    excess = replace(judged("dose-fault"), excess=True)
    well = replace(judged("swing-down"), verdict="steady", reason=None)
    assert [] == codes(with_said(excess))
    assert [] == codes(with_said(well))
    assert [] == codes(with_said(judged("swing-down")), "other")


def read(at: Moment, probe: str, minutes_ago: float = 0.0) -> None:
    """A probe is heard."""
    taken = NOW - timedelta(minutes=minutes_ago)
    at.sight.readings[probe] = [
        Reading(
            tank="reef", probe=probe, parameter="alkalinity", value=dkh(8), at=taken
        )
    ]


def test_h49_a_bad_probe_shortens_until_another_one_speaks() -> None:
    """One sound probe is enough to know the water: heard, and nothing said of it."""
    alone = with_said(judged("probe-fault"))
    read(alone, "kh")
    assert [Code.ALKALINITY_PROBE_FAULT] == codes(alone)
    silent = with_said(judged("probe-fault"), probes=2)
    read(silent, "kh")
    assert [Code.ALKALINITY_PROBE_FAULT] == codes(silent)
    read(silent, "two", minutes_ago=31)
    assert [Code.ALKALINITY_PROBE_FAULT] == codes(silent)
    read(silent, "two")
    assert [] == codes(silent)


def test_two_bad_probes_are_two_doubts() -> None:
    """Neither speaks for the other; their age does not matter."""
    both = with_said(
        judged("probe-fault", hours_ago=200),
        judged("probe-fault", "probe/two"),
        probes=2,
    )
    read(both, "kh")
    read(both, "two")
    assert [Code.ALKALINITY_PROBE_FAULT] * 2 == codes(both)


def test_a_sound_probe_with_another_verdict_is_sound() -> None:
    """A fall says something of the water, not of the probe."""
    at = with_said(judged("probe-fault"), judged("swing-down", "probe/two"), probes=2)
    read(at, "two")
    assert [Code.ALKALINITY_SWING_DOWN] == codes(at)
