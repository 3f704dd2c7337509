"""What is said of a series of readings, as alarms: one row, one action, one end."""

from dataclasses import replace
from datetime import timedelta

from slackwater.alarms.conditions import Condition
from slackwater.alarms.rows import ROWS
from slackwater.alarms.water import Ear, water
from slackwater.facts.alarms import Cause
from slackwater.facts.fold import fold
from slackwater.facts.judgements import SeriesJudged, Verdict
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import ProbeTakenOut
from tests.alarms.desk import Desk
from tests.gate.scene import PROBE, dkh, probed

CODES: dict[Verdict, Code] = {
    "swing-down": Code.ALKALINITY_SWING_DOWN,
    "dose-fault": Code.ALKALINITY_DOSE_FAULT,
    "probe-fault": Code.ALKALINITY_PROBE_FAULT,
}
OF_SERIES = frozenset(
    {
        Cause.ALKALINITY_SWING_DOWN,
        Cause.ALKALINITY_DOSE_FAULT,
        Cause.ALKALINITY_PROBE_FAULT,
    }
)


def say(
    desk: Desk,
    verdict: Verdict,
    *,
    source: str = "probe/kh",
    excess: bool = False,
    hours_ago: float = 0.0,
    how: str = "noise",
) -> None:
    """Something was said of a source."""
    desk.fold(
        SeriesJudged(
            **desk.stamp,
            tank="reef" if source != "hand/other" else "other",
            source=source,
            verdict=verdict,
            taken_at=desk.moment.now.utc - timedelta(hours=hours_ago),
            reason=because(CODES[verdict], source=source, how=how),
            excess=excess,
        )
    )


def told(desk: Desk) -> list[Condition]:
    """What the water tells of series."""
    found = water(desk.moment, Ear(since_s=0.0))
    return [one for one in found if one.cause in OF_SERIES]


def test_a_fall_is_told_for_a_day_from_a_probe_and_two_from_a_hand() -> None:
    """Nothing repeats it: 26 and 50 hours after the reading it has worn off."""
    for source, lasts_h in (("probe/kh", 26.0), ("hand/reef", 50.0)):
        desk = Desk()
        say(desk, "swing-down", source=source, hours_ago=lasts_h)
        assert ["alkalinity-swing-down.reef"] == [one.id for one in told(desk)]
        say(desk, "swing-down", source=source, hours_ago=lasts_h + 0.1)
        assert [] == told(desk)


def test_what_holds_is_not_told_a_second_time_by_the_water() -> None:
    """A doubled dose latches, and the hold has its own alarm."""
    desk = Desk()
    say(desk, "dose-fault", excess=True)
    assert [] == told(desk)


def test_what_is_said_of_another_tank_is_not_told_of_this_one() -> None:
    """Each tank has its own series."""
    desk = Desk()
    say(desk, "swing-down", source="hand/other")
    assert [] == told(desk)


def test_a_bad_probe_is_told_by_its_own_name() -> None:
    """It is the probe that needs a hand, and the doses of the tank are short."""
    desk = Desk()
    say(desk, "probe-fault")
    (one,) = told(desk)
    assert ("alkalinity-probe-fault.kh", ("reef",)) == (one.id, one.tanks)
    assert one.share < 1.0


def test_a_probe_that_stood_still_is_one_trouble_however_it_is_found() -> None:
    """The newest readings move again, the series does not yet: one name for both."""
    desk = Desk()
    say(desk, "probe-fault", how="frozen")
    found = water(desk.moment, Ear(since_s=0.0))
    assert ["probe-frozen.kh"] == [one.id for one in found]


def test_a_probe_that_talks_nonsense_says_which() -> None:
    """As long as the daemon remembers why it refused the newest."""
    desk = Desk()
    ear = Ear(since_s=0.0, spoiled=frozenset({"kh"}))
    desk.moment.sight.flawed["kh"] = "dated in the future"
    (one,) = water(desk.moment, ear)
    assert ("probe-spoiled.kh", {"why": "dated in the future"}) == (one.id, one.figures)
    del desk.moment.sight.flawed["kh"]
    assert [{}] == [one.figures for one in water(desk.moment, ear)]


def test_a_bad_probe_beside_a_sound_one_costs_nothing_and_is_told() -> None:
    """One sound probe is enough to know the water."""
    both = replace(probed(), probes={"kh": PROBE, "two": replace(PROBE, id="two")})
    desk = Desk(both)
    said = Reading(
        tank="reef",
        probe="two",
        parameter="alkalinity",
        value=dkh(8.0),
        at=desk.moment.now.utc,
    )
    desk.moment.sight.readings["two"] = [said]
    say(desk, "probe-fault")
    (one,) = told(desk)
    assert ("alkalinity-probe-fault.kh", 1.0) == (one.id, one.share)


def test_a_probe_out_of_service_is_not_told_to_be_bad() -> None:
    """A person knows, and took it out."""
    desk = Desk()
    say(desk, "probe-fault")
    out = ProbeTakenOut(
        **desk.stamp,
        probe="kh",
        until=desk.moment.now.utc + timedelta(days=1),
        by="keeper",
        why="worn",
    )
    fold(desk.moment.state, out)
    assert [] == told(desk)


def test_each_verdict_that_counts_has_one_row_with_one_action() -> None:
    """A sentence of its own, and one thing to do."""
    rows = [ROWS[cause] for cause in (*sorted(OF_SERIES), Cause.ALKALINITY_SWING_UP)]
    assert len(rows) == len({row.sentence for row in rows})
    assert all(row.action.endswith(".") and row.action for row in rows)
