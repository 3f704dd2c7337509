"""What standing verdicts on series take from doses.

Floor 3. One subject: shortening by verdicts. Laws here: a fall, and a source that
cannot be trusted, shorten and never latch; one sound probe is enough to know the water;
what nobody repeats wears off, and a probe that is gone is doubted no more.
"""

from collections.abc import Iterator
from datetime import timedelta

from slackwater.facts.judgements import SeriesJudged
from slackwater.gate.alkalinity import alkalinity_probes, is_fresh
from slackwater.gate.moment import ALKALINITY, Moment

# A fall is something of the last day; a hand tests once a day, and may miss one.
LASTS_PROBE, LASTS_HAND = timedelta(hours=26), timedelta(hours=50)
FAULT = "probe-fault"


def counts(moment: Moment, judged: SeriesJudged) -> bool:
    """Whether a verdict that only shortens still does."""
    if judged.verdict == FAULT:
        return _is_there(moment, judged) and not any(_sound_probes(moment, judged.tank))
    is_hand = judged.source.startswith("hand/")
    lasts = LASTS_HAND if is_hand else LASTS_PROBE
    return moment.now.utc - judged.taken_at <= lasts


def _is_there(moment: Moment, judged: SeriesJudged) -> bool:
    """Whether the machine still has its probe: only a reading ends the verdict."""
    probes = moment.rules.probes.get(f"{judged.tank}/{ALKALINITY}", ())
    return any(judged.source == f"probe/{probe.id}" for probe in probes)


def _sound_probes(moment: Moment, tank: str) -> Iterator[str]:
    """Probes that are heard and that nothing is said against."""
    for probe in alkalinity_probes(moment, tank):
        judged = moment.state.judged.get(f"probe/{probe.id}")
        series = moment.sight.readings.get(probe.id, [])
        is_faulty = judged is not None and judged.verdict == FAULT
        if not is_faulty and is_fresh(probe, series, moment.now.utc):
            yield probe.id
