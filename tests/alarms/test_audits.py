"""What a kept audit makes known: its faults, its absence, its line of the day."""

from slackwater.alarms.words import sentence, summary
from slackwater.facts.alarms import AlarmChanged, AlarmRaised
from tests.alarms.desk import Desk
from tests.ledger.audit_samples import audited

HOUR_S = 3600.0


def names(events: list[AlarmRaised | AlarmChanged]) -> list[str]:
    """The alarms that were told."""
    return [event.alarm for event in events if isinstance(event, AlarmRaised)]


def test_without_an_audit_nothing_is_told() -> None:
    """Where no timer was set up nobody misses it."""
    desk = Desk()
    assert [] == names(desk.look(100 * HOUR_S) + desk.look(60.0))
    assert "Audit" not in summary(desk.moment).body


def test_d7_a_fault_is_told_and_ends_with_a_clean_audit() -> None:
    """The alarm names the first departure; a clean audit takes it back."""
    desk = Desk()
    desk.fold(audited(desk.stamp))
    told = [*desk.look(), *desk.look(10.0)]
    (raised,) = [event for event in told if isinstance(event, AlarmRaised)]
    assert "not-as-approved.audit" == raised.alarm
    assert "soon" == raised.priority
    assert 1 == raised.figures["faults"]
    assert str(raised.figures["first"]).startswith("reef/carbonate@2026-05-03#07")
    assert sentence(raised).startswith("Doses are not as they were approved")
    desk.fold(audited(desk.stamp, extra=0))
    ended = [*desk.look(), *desk.look(120.0)]
    assert ["returned"] == [e.to for e in ended if isinstance(e, AlarmChanged)]


def test_an_audit_that_is_not_made_is_told_after_two_days() -> None:
    """Fifty hours: one may fail, or the machine be off for a night."""
    desk = Desk()
    desk.fold(audited(desk.stamp, extra=0))
    assert [] == names(desk.look(49 * HOUR_S))
    told = [*desk.look(2 * HOUR_S), *desk.look(10.0)]
    assert ["audit-overdue.all"] == names(told)


def test_the_summary_of_the_day_has_its_figures() -> None:
    """Given of approved, missing with a reason, faults."""
    desk = Desk()
    desk.fold(audited(desk.stamp))
    assert (
        "22 of 24 approved doses given, 2 missing with a reason, 1 fault."
        in summary(desk.moment).body
    )
