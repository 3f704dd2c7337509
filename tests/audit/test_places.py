"""The audit's own calendar beside the daemon's, in every zone and on every change.

Two programs that share no line: where a slip in one of them moves a dose, they differ.
"""

from datetime import date, timedelta
from itertools import product
from zoneinfo import ZoneInfo, available_timezones

import pytest

from slackwater.audit.consent import consent_of
from slackwater.audit.places import comes, instant, places
from slackwater.errors import InputError
from slackwater.facts.plan import Window
from slackwater.planning.timetable import Timetable
from tests.audit.books import BEGIN, approved, machine
from tests.planning import plans

# Days on which clocks changed by an hour, half an hour or a whole day, and one without
# a change: IANA time zone database.
CHANGES = (
    ("Europe/Berlin", date(2026, 3, 29)),
    ("Europe/Berlin", date(2026, 10, 25)),
    ("America/St_Johns", date(2026, 11, 1)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
    ("Africa/Casablanca", date(2026, 2, 15)),
    ("America/Havana", date(2026, 3, 8)),
    ("Pacific/Apia", date(2011, 12, 29)),
    ("Pacific/Apia", date(2011, 12, 31)),
    ("Asia/Kathmandu", date(2026, 5, 3)),
)
HALVES = (
    Window(start_minute=0, end_minute=95),
    Window(start_minute=130, end_minute=1440),
)


def agree(zone: str, first: date, days: int, *lines: dict[str, object]) -> None:
    """Every dose the timetable lays is in its place, and each place has its dose."""
    made = plans.machine(zone, other_zone=zone)
    made = plans.timed(made, same_pump_gap_s=0.0)
    names = ("carbonate", "trace")
    wanted = plans.plan(
        *(
            plans.line(name, 24_007, **line)  # type: ignore[arg-type]  # fields of a line
            for name, line in zip(names, lines, strict=False)
        ),
        starts=first,
    )
    consent = consent_of(approved(1, BEGIN, (made, wanted)))
    timetable = Timetable(wanted, made)
    for day in (first + timedelta(days=offset) for offset in range(days)):
        laid = {dose.id: dose for dose in timetable.day("reef", day).doses}
        found = {
            f"reef/{line.id}@{day}#{number:02d}": place
            for line in consent.lines.values()
            for number, place in places(consent, line, day).items()
        }
        assert laid.keys() == found.keys(), (zone, day)
        for name, dose in laid.items():
            assert found[name].holds(dose.due_at), (zone, name)
            assert dose.volume_ul == found[name].volume_ul


@pytest.mark.parametrize(("zone", "day"), CHANGES)
def test_h36_every_change_of_the_clock_lays_the_same_doses(
    zone: str, day: date
) -> None:
    """Over the whole day, in two windows, and at times of which some do not exist."""
    first = day - timedelta(days=2)
    agree(zone, first, 5, {"count": 24}, {"count": 7, "windows": HALVES})
    agree(zone, first, 5, {"count": 4, "times_minute": (15, 125, 150, 1430)})


@pytest.mark.timeout(300)
def test_h36_all_zones_of_the_database_agree_around_both_changes() -> None:
    """Some days of March, April, October and November in each zone there is."""
    months = (date(2026, 3, 28), date(2026, 10, 24))
    for zone, first in product(sorted(available_timezones()), months):
        agree(zone, first, 2, {"count": 5})


def test_a_minute_comes_when_a_clock_first_shows_it() -> None:
    """02:30 in Berlin: twice in October, never in March (directive 2000/84/EC)."""
    berlin = ZoneInfo("Europe/Berlin")
    twice, shown = comes(berlin, date(2026, 10, 25), 150)
    assert ("2026-10-25T00:30:00+00:00", True) == (instant(twice).isoformat(), shown)
    never, shown = comes(berlin, date(2026, 3, 29), 150)
    assert ("2026-03-29T01:00:00+00:00", False) == (instant(never).isoformat(), shown)


@pytest.mark.parametrize("every", [2, 3])
def test_days_without_a_dose_have_no_place(every: int) -> None:
    """Every so many days from the start, by weekday, and between two dates."""
    first = date(2026, 5, 3)
    agree(
        "UTC",
        first,
        20,
        {"count": 3, "every_days": every},
        {"count": 2, "weekdays": ("mon", "sun"), "last_day": first + timedelta(days=9)},
    )


def test_a_text_without_what_is_needed_is_an_error() -> None:
    """It names the approval; nothing is guessed."""
    entry = approved(7, BEGIN, (machine(), plans.plan(plans.line())))
    broken = entry.plan.replace('"per_day_ul"', '"per_dya_ul"')
    with pytest.raises(InputError, match="approval 7"):
        consent_of(
            type(entry)(
                at=entry.at,
                boot_s=entry.boot_s,
                proven_ms=entry.proven_ms,
                approval=entry.approval,
                machine=entry.machine,
                plan=broken,
                files={},
            )
        )
