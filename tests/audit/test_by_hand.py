"""Doses by hand in the audit: as asked for, in the water, for this and nothing else."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import RequestTakenBack, ShotRequested
from tests.audit.books import BEGIN, Days, ended, intended, stamp, wrongs

AT = BEGIN + timedelta(hours=1)


def days(purpose: str, *, in_water: bool, kind: str = "manual") -> Days:
    """Two days as approved, and one dose that a person asked for, run so."""
    made = Days()
    dose = replace(
        made.doses()[0], id="hand-1", line="", latest_at=AT + timedelta(minutes=30)
    )
    request = ShotRequested(
        **stamp(AT - timedelta(seconds=1)),
        request="hand-1",
        pump=dose.pump,
        volume_ul=dose.volume_ul,
        until=AT + timedelta(minutes=30),
        by="keeper",
        why="a test was low",
    )
    made.rules.append(replace(request, purpose=purpose))  # type: ignore[arg-type]  # one of two
    intent = replace(
        intended(dose, made.machine, AT),
        dose_kind=kind,  # type: ignore[arg-type]  # one of three
        in_water=in_water,
    )
    made.live += [intent, ended(intent)]
    return made


def test_a_dose_by_hand_is_no_departure() -> None:
    """It is listed apart from the plan's, as what was asked for."""
    found = days("manual", in_water=True).audited()
    assert ([], 1) == (list(wrongs(found)), found.by_request)


@pytest.mark.parametrize(
    ("purpose", "kind", "in_water"),
    [
        ("manual", "manual", False),
        ("calibrate", "manual", True),
        ("manual", "calibrate", False),
        ("calibrate", "calibrate", True),
        ("prime", "prime", True),
        ("manual", "prime", False),
    ],
)
def test_h56_a_run_counts_where_it_was_asked_for(
    purpose: str, kind: str, *, in_water: bool
) -> None:
    """Into the water by hand, out of it to calibrate: any other way is altered."""
    found = days(purpose, in_water=in_water, kind=kind).audited()
    assert {("altered", "hand-1")} == set(wrongs(found))


def taken_back(at_s: float) -> RequestTakenBack:
    """The dose by hand taken back so long after it was intended."""
    return RequestTakenBack(
        **stamp(AT + timedelta(seconds=at_s)),
        request="hand-1",
        pump="carbonate-reef",
        volume_ul=3000,
        by="keeper",
    )


def test_h55_a_request_taken_back_is_no_finding() -> None:
    """Nobody gave it, and nobody is asked why."""
    made = days("manual", in_water=True)
    made.live = made.live[:-2]
    before = made.audited()
    made.rules.append(taken_back(1))
    after = made.audited()
    assert list(wrongs(before)) == list(wrongs(after)) == []
    assert (before.missing, before.pending) == (after.missing, after.pending)


@pytest.mark.parametrize("at_s", [-0.5, 1])
def test_h55_a_request_taken_back_is_never_given(at_s: float) -> None:
    """Whichever of the two entries came first: the ledger may hold one of them."""
    made = days("manual", in_water=True)
    made.rules.append(taken_back(at_s))
    assert {("extra", "hand-1")} == set(wrongs(made.audited()))
