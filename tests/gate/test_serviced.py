"""A climb is told of readings on one scale: a serviced probe begins anew."""

from datetime import timedelta

from slackwater.facts.fold import fold
from slackwater.facts.reasons import Code
from slackwater.facts.waters import HusbandryNoted
from slackwater.gate.alkaline import climb_hears
from slackwater.gate.moment import Moment
from tests.gate.scene import NOW, PROBE, PROVEN_MS
from tests.gate.test_alkalinity import thrice, with_probes


def service(at: Moment, minutes_ago: float, name: str) -> None:
    """A keeper writes down that the probes were cleaned, so long before noon."""
    when = NOW - timedelta(minutes=minutes_ago)
    fold(
        at.state,
        HusbandryNoted(
            at=NOW,
            boot_s=1.0,
            proven_ms=PROVEN_MS,
            id=name,
            tank="reef",
            what="probe_serviced",
            happened_at=when,
            by="keeper",
        ),
    )


def test_what_a_probe_shows_since_its_service_is_no_climb() -> None:
    """The newest service counts, whichever was written down last."""
    at = with_probes(PROBE)
    series = thrice((600, 8.0), (300, 8.0), (90, 9.0), (0, 9.0))
    at.sight.readings["kh"] = series
    news = series[-1]
    assert [Code.ALKALINITY_CLIMB] == [
        seen.reason.code for seen in climb_hears(at, news)
    ]
    service(at, 400, "early")
    assert [Code.ALKALINITY_CLIMB] == [
        seen.reason.code for seen in climb_hears(at, news)
    ]
    service(at, 200, "late")
    assert [] == list(climb_hears(at, news))
    service(at, 450, "told afterwards")
    assert [] == list(climb_hears(at, news))


def test_a_service_that_is_yet_to_come_hides_no_climb() -> None:
    """Written down for later today: what was read before it counts."""
    at = with_probes(PROBE)
    series = thrice((600, 8.0), (300, 8.0), (90, 9.0), (0, 9.0))
    at.sight.readings["kh"] = series
    service(at, -30, "later")
    assert [Code.ALKALINITY_CLIMB] == [
        seen.reason.code for seen in climb_hears(at, series[-1])
    ]
