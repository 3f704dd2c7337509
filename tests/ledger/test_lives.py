"""The life of a dose, told from its entries."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    DoseEnded,
    DoseHanded,
    DoseHeld,
    DoseMissed,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    RequestTakenBack,
)
from slackwater.facts.reasons import Code, because
from slackwater.ledger.lives import Life, Total, live_through, totals
from slackwater.ports import Entry
from tests.ledger.samples import DAY, NOON, clocks, due, ended, intended, kept, made

INTENT = intended(7)
ATTEMPT = INTENT.command.attempt
HELD = DoseHeld(
    **clocks(1),
    dose_id=INTENT.dose.id,
    pump="left",
    reasons=(because(Code.NODE_ABSENT),),
)
MISSED = DoseMissed(
    **clocks(500), dose=INTENT.dose, reasons=(because(Code.WINDOW_PASSED),)
)
HANDED = DoseHanded(**clocks(7.1), attempt=ATTEMPT, certain=True)
TAKEN = DoseTaken(**clocks(7.2), attempt=ATTEMPT)
ENDED = ended(ATTEMPT)
REFUSED = DoseRefusedByNode(**clocks(7.3), attempt=ATTEMPT, word="late")
VOIDED = DoseVoided(**clocks(20), attempt=ATTEMPT, reasons=(because(Code.NOT_TAKEN),))
SEALED = DoseSealed(**clocks(90), attempt=ATTEMPT, reasons=(because(Code.NODE_SILENT),))
TAKEN_BACK = RequestTakenBack(
    **clocks(6), request=INTENT.dose.id, pump="left", volume_ul=2000, by="keeper"
)
RAISED = ChargeRaised(**clocks(99), attempt=ATTEMPT, pump="left", charge_ul=2500)


def lives(*events: AnyEvent) -> list[Life]:
    """The lives that follow from these entries."""
    return live_through(
        Entry(seq=seq, event=event) for seq, event in enumerate(events, start=1)
    )


def only(*events: AnyEvent) -> Life:
    """The one life that follows from these entries."""
    found = lives(*events)
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize(
    ("events", "word", "how", "charge_ul", "believed_ul"),
    [
        ((HELD,), "held", "", 0, 0),
        ((HELD, MISSED), "missed", "", 0, 0),
        ((TAKEN_BACK,), "taken_back", "", 0, 0),
        ((HELD, TAKEN_BACK), "taken_back", "", 0, 0),
        ((INTENT,), "intended", "", 1990, 1990),
        ((INTENT, HANDED), "handed", "", 1990, 1990),
        ((INTENT, TAKEN), "taken", "", 1990, 1990),
        ((INTENT, HANDED, TAKEN, ENDED), "ended", "full", 1996, 1996),
        ((INTENT, REFUSED), "refused", "late", 1990, 1990),
        ((INTENT, REFUSED, VOIDED), "voided", "late", 0, 0),
        ((INTENT, VOIDED, MISSED), "voided", "", 0, 0),
        ((INTENT, SEALED), "sealed", "", 1990, 1990),
        ((INTENT, SEALED, RAISED), "sealed", "", 2500, 1990),
        ((INTENT, TAKEN, ENDED, RAISED), "ended", "full", 2500, 1996),
    ],
)
def test_a_dose_ends_with_the_word_of_its_last_step(
    events: tuple[AnyEvent, ...],
    word: str,
    how: str,
    charge_ul: int,
    believed_ul: int,
) -> None:
    """Unknown is charged as asked; only `voided` gives a charge back."""
    life = only(*events)

    assert (word, how) == (life.word, life.how)
    assert (charge_ul, believed_ul) == (life.charge_ul, life.believed_ul)


@pytest.mark.parametrize(
    ("events", "word"),
    [
        ((INTENT, TAKEN, HANDED), "taken"),
        ((INTENT, ENDED, TAKEN, HANDED), "ended"),
        ((INTENT, TAKEN, REFUSED), "taken"),
        ((INTENT, REFUSED, TAKEN), "taken"),
        ((HELD, INTENT, HELD), "intended"),
        ((INTENT, SEALED, ENDED), "ended"),
        ((INTENT, VOIDED, SEALED), "voided"),
        ((INTENT, SEALED, VOIDED), "sealed"),
        ((TAKEN_BACK, MISSED), "taken_back"),
        ((INTENT, TAKEN_BACK), "intended"),
    ],
)
def test_a_late_copy_of_an_earlier_word_turns_nothing_back(
    events: tuple[AnyEvent, ...], word: str
) -> None:
    """A life only moves on."""
    assert word == only(*events).word


def test_what_was_taken_back_is_told_with_what_was_asked_for() -> None:
    """How much and when it ended; no day counts it, for nobody planned it."""
    life = only(HELD, TAKEN_BACK)

    assert (2000, 0, TAKEN_BACK.at) == (life.planned_ul, life.asked_ul, life.settled_at)
    assert [] == totals([life])


def test_a_short_run_keeps_the_asked_charge() -> None:
    """The believed amount follows the report, the charge does not fall."""
    short = DoseEnded(
        **clocks(9),
        attempt=ATTEMPT,
        how="short",
        believed_ul=900,
        charge_ul=900,
        source="reported",
    )
    life = only(INTENT, TAKEN, short)

    assert (life.how, life.charge_ul, life.believed_ul) == ("short", 1990, 900)


def test_a_charge_is_never_lowered() -> None:
    """A smaller late figure changes nothing."""
    smaller = replace(RAISED, charge_ul=10)

    assert only(INTENT, ENDED, smaller).charge_ul == 1996


def test_a_life_carries_what_the_plan_and_the_gate_said() -> None:
    """Identity, times, amounts and all reasons, each once."""
    life = only(HELD, HELD, INTENT, TAKEN, ENDED)

    assert life == Life(
        dose=INTENT.dose.id,
        pump="left",
        word="ended",
        tank="reef",
        line="carbonate",
        local_day=DAY,
        due_at=INTENT.dose.due_at,
        planned_ul=2000,
        asked_ul=1990,
        charge_ul=1996,
        believed_ul=1996,
        how="full",
        attempt=ATTEMPT,
        intended_at=INTENT.at,
        settled_at=NOON + timedelta(seconds=9),
        reasons=("node-absent", "alkalinity-stale"),
    )


def test_a_missed_dose_tells_what_was_planned_when_and_why() -> None:
    """Nothing was asked of the pump; the plan wanted 2000 µL."""
    life = only(HELD, MISSED, replace(MISSED, **clocks(900)))

    assert life == Life(
        dose=INTENT.dose.id,
        pump="left",
        word="missed",
        tank="reef",
        line="carbonate",
        local_day=DAY,
        due_at=INTENT.dose.due_at,
        planned_ul=2000,
        asked_ul=0,
        charge_ul=0,
        believed_ul=0,
        settled_at=MISSED.at,
        reasons=("node-absent", "window-passed"),
    )


def test_a_dose_that_was_only_held_tells_no_amount() -> None:
    """Neither planned nor asked, for no plan was looked at."""
    life = only(HELD)

    assert (0, 0) == (life.planned_ul, life.asked_ul)


@pytest.mark.parametrize(
    ("settled", "reason"), [(VOIDED, "not-taken"), (SEALED, "node-silent")]
)
def test_a_dose_that_was_settled_without_a_report_says_why(
    settled: DoseVoided | DoseSealed, reason: str
) -> None:
    """After the reasons of its intent."""
    life = only(INTENT, settled)

    assert (("alkalinity-stale", reason), settled.at) == (
        life.reasons,
        life.settled_at,
    )


def test_a_planned_amount_is_that_of_the_intent() -> None:
    """A word of a missed dose that comes after it changes nothing."""
    late = replace(MISSED, dose=replace(INTENT.dose, volume_ul=9))

    assert 2000 == only(INTENT, late).planned_ul


def test_entries_of_other_things_and_unknown_attempts_are_passed_over() -> None:
    """A part of a ledger may begin after the intent."""
    assert not lives(made(), kept(), TAKEN, ENDED, VOIDED, SEALED, REFUSED, RAISED)


def test_lives_stand_in_the_order_of_first_mention() -> None:
    """Also when they settle in another."""
    other = intended(8)
    found = lives(INTENT, other, ended(other.command.attempt), ENDED)

    assert [INTENT.dose.id, other.dose.id] == [life.dose for life in found]


def test_totals_sum_what_each_pump_gave_each_day() -> None:
    """Worked by hand: 1996 ended and 1990 open; one missed, one voided, one held."""
    voided = intended(9)
    events: tuple[AnyEvent, ...] = (
        INTENT,
        ENDED,
        intended(8),
        voided,
        replace(VOIDED, attempt=voided.command.attempt),
        replace(MISSED, dose=due(10)),
        replace(HELD, dose_id="reef/carbonate@2026-05-03#11"),
    )

    assert totals(lives(*events)) == [
        Total(
            local_day=DAY,
            tank="reef",
            pump="left",
            doses=2,
            missed=2,
            asked_ul=3980,
            charge_ul=3986,
            believed_ul=3986,
        )
    ]


def test_totals_keep_days_and_pumps_apart_and_sorted() -> None:
    """One line per local day, tank and pump."""
    tomorrow = replace(intended(8, pump="right"), local_day=DAY + timedelta(days=1))
    held = replace(HELD, dose_id="reef/carbonate@2026-05-03#11")
    found = totals(lives(held, tomorrow, intended(9, pump="right"), intended(7)))

    assert [
        (DAY, "left"),
        (DAY, "right"),
        (DAY + timedelta(days=1), "right"),
    ] == [(total.local_day, total.pump) for total in found]


def test_runs_into_a_cylinder_are_counted_apart() -> None:
    """What never reached the water is no dose."""
    shot = replace(intended(7), in_water=False, dose_kind="calibrate")

    (total,) = totals(lives(shot))
    assert (total.doses, total.charge_ul, total.calibration_ul) == (0, 0, 1990)
