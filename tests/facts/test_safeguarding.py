"""What people say of the guards, and what a probe showed beside a hand test."""

from dataclasses import replace
from datetime import timedelta

from slackwater.facts.inventory import left_ul
from slackwater.facts.safeguards import AwayEnded, BypassEnded, ProbePutBack
from slackwater.facts.state import State
from slackwater.facts.waters import HusbandryNoted, MeasurementKept, MeasurementStruck
from tests.facts.diary import HOUR, T0, TODAY, Diary, begun, reading
from tests.facts.safeguards import away, bypassed, filled, summed, taken_out
from tests.gate.scene import machine

DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)
START = T0 + MINUTE


def noted(diary: Diary, what: str, until: timedelta | None = None) -> HusbandryNoted:
    """A happening in the invented reef."""
    return HusbandryNoted(
        **diary.stamp,
        id=f"h-{len(diary.events)}",
        tank="reef",
        what=what,  # type: ignore[arg-type]  # a word of the closed list
        happened_at=diary.stamp["at"],
        by="keeper",
        until=None if until is None else diary.stamp["at"] + until,
    )


def hand_test(diary: Diary, value: float, ago: timedelta, name: str) -> MeasurementKept:
    """A hand test of alkalinity some time ago."""
    return MeasurementKept(
        **diary.stamp,
        id=name,
        tank="reef",
        parameter="alkalinity",
        value=value,
        typed="",
        taken_at=diary.stamp["at"] - ago,
        provenance="hand",
        by="keeper",
    )


def shown(diary: Diary, value: float) -> None:
    """A kept reading of this moment."""
    diary.write(replace(reading(diary), value=value, taken_at=diary.stamp["at"]))


def compared(state: State) -> dict[str, tuple[float, float]]:
    """By probe: what was tested, what the probe showed."""
    return {name: (one.tested, one.shown) for name, one in state.compared.items()}


def test_the_newest_bypass_counts_until_it_is_ended() -> None:
    """A second one takes the place of the first; an end leaves others alone."""
    diary = begun()
    diary.write(bypassed(diary.stamp), bypassed(diary.stamp, "leak"))
    diary.wait(HOUR)
    diary.write(bypassed(diary.stamp))
    assert START + 3 * HOUR == diary.state.bypasses["ph-carbonate"].until
    diary.write(BypassEnded(**diary.stamp, interlock="ph-carbonate", by="keeper"))
    assert ["leak"] == list(diary.state.bypasses)


def test_a_probe_is_out_until_it_is_put_back() -> None:
    """What is put back that was never out changes nothing."""
    diary = begun()
    diary.write(taken_out(diary.stamp))
    assert START + 7 * DAY == diary.state.out_of_service["kh"].until
    diary.write(ProbePutBack(**diary.stamp, probe="ph", by="keeper"))
    assert ["kh"] == list(diary.state.out_of_service)
    diary.write(ProbePutBack(**diary.stamp, probe="kh", by="keeper"))
    assert {} == diary.state.out_of_service


def test_an_absence_stands_until_somebody_is_back() -> None:
    """A later declaration takes the place of the first."""
    diary = begun()
    diary.write(away(diary.stamp), away(diary.stamp, days=3))
    assert diary.state.away is not None
    assert START + 3 * DAY == diary.state.away.until
    diary.write(AwayEnded(**diary.stamp, by="keeper"))
    assert diary.state.away is None


def test_only_a_treatment_with_an_end_is_a_treatment() -> None:
    """A later word moves the end; a harvest has none."""
    diary = begun()
    diary.write(noted(diary, "treatment"), noted(diary, "harvest", 2 * DAY))
    assert {} == diary.state.treatments
    diary.write(noted(diary, "treatment", 5 * DAY), noted(diary, "treatment", DAY))
    assert {"reef": START + DAY} == diary.state.treatments


def test_what_is_left_counts_from_the_last_fill() -> None:
    """Without one from the machine file; never below nothing."""
    diary, used = begun(), machine()
    assert 5_000_000 == left_ul(used, diary.state, "one")
    diary.intend(1, ul=2000)
    diary.end(1, 2000)
    assert 4_998_000 == left_ul(used, diary.state, "one")
    diary.write(filled(diary.stamp, content_ul=3_000))
    assert 3_000 == left_ul(used, diary.state, "one")
    diary.intend(2, ul=2000)
    diary.end(2, 2000)
    assert 1_000 == left_ul(used, diary.state, "one")
    diary.intend(3, ul=2000)
    assert 0 == left_ul(used, diary.state, "one")


def test_top_off_sums_are_kept_for_fourteen_days() -> None:
    """The oldest go, and a day written twice counts once."""
    diary = begun()
    diary.write(*(summed(diary.stamp, day, day) for day in range(16)))
    diary.write(summed(diary.stamp, 15, 99))
    days = diary.state.top_offs["refill"]
    assert [TODAY + day * DAY for day in range(2, 16)] == list(days)
    assert 99 == days[TODAY + 15 * DAY]


def test_h52_a_test_is_compared_with_the_reading_beside_it() -> None:
    """The nearest kept reading within 45 minutes; none further away."""
    diary = begun()
    shown(diary, 2.8)
    diary.wait(30 * MINUTE)
    shown(diary, 2.9)
    diary.wait(HOUR)
    diary.write(hand_test(diary, 3.1, HOUR + 10 * MINUTE, "m-1"))
    assert {"kh": (3.1, 2.9)} == compared(diary.state)
    diary.write(hand_test(diary, 3.3, timedelta(), "m-2"))
    assert {"kh": (3.1, 2.9)} == compared(diary.state)


def test_h52_an_older_test_or_a_laboratory_compares_nothing() -> None:
    """The newest hand test speaks; what was struck is forgotten."""
    diary = begun()
    shown(diary, 2.8)
    diary.wait(30 * MINUTE)
    shown(diary, 2.9)
    diary.write(hand_test(diary, 3.1, timedelta(), "m-1"))
    diary.write(hand_test(diary, 2.5, 30 * MINUTE, "m-2"))
    report = hand_test(diary, 4.0, timedelta(), "m-3")
    diary.write(replace(report, provenance="lab"), replace(report, censored=True))
    assert {"kh": (3.1, 2.9)} == compared(diary.state)
    for name in ("m-2", "m-1"):
        diary.write(
            MeasurementStruck(**diary.stamp, measurement=name, by="keeper", why="slip")
        )
    assert {} == compared(diary.state)


def test_h52_a_service_in_another_tank_forgets_nothing_of_this_one() -> None:
    """Two tanks have a probe each; a keeper says whose was cleaned."""
    diary = begun()
    shown(diary, 2.8)
    diary.write(hand_test(diary, 3.1, timedelta(), "m-1"))
    diary.write(replace(noted(diary, "probe_serviced"), tank="pond"))
    assert {"kh": (3.1, 2.8)} == compared(diary.state)


def test_h52_a_serviced_probe_begins_anew() -> None:
    """So does one that is put back into service."""
    diary = begun()
    shown(diary, 2.8)
    diary.write(hand_test(diary, 3.1, timedelta(), "m-1"), noted(diary, "light"))
    assert diary.state.compared
    diary.write(noted(diary, "probe_serviced"))
    assert {} == compared(diary.state)
    diary.write(hand_test(diary, 3.1, timedelta(), "m-2"), taken_out(diary.stamp))
    diary.write(ProbePutBack(**diary.stamp, probe="kh", by="keeper"))
    assert {} == compared(diary.state)
