"""What the audit finds: clean days, too much, every reason for what is missing."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.audit.expected import asked
from slackwater.audit.history import history_of
from slackwater.audit.reasons import WORDS, Missing, word_for
from slackwater.facts.doses import ChargeRaised, DoseIntended, DoseSealed, DoseVoided
from slackwater.facts.events import (
    Calibrated,
    PlanWithdrawn,
    PumpsDisabled,
    ShotRequested,
)
from slackwater.facts.plan import DueDose, Window
from slackwater.facts.reasons import Code, because
from slackwater.pump.command import calibration_id
from tests.audit.books import (
    BEGIN,
    DAY,
    Days,
    approved,
    ended,
    intended,
    missed,
    stamp,
    wrongs,
)
from tests.audit.test_departures import command

HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)
Slip = Callable[[Days, DoseIntended], None]


def test_days_as_approved_are_clean() -> None:
    """Two pumps, two days: everything asked for was given, nothing else was."""
    days = Days()
    found = days.audited()
    assert [] == list(wrongs(found))
    assert [] == found.missing
    assert (0, (1,)) == (found.pending, found.serials)
    totals = {total.pump: total for total in found.days.values()}
    assert {"carbonate-reef": 36_000, "trace-reef": 4_001} == {
        pump: total.approved_ul for pump, total in totals.items()
    }
    assert all(total.believed_ul == total.approved_ul for total in found.days.values())
    assert 4 == len(found.days)


def test_more_than_approved_in_a_day_is_told() -> None:
    """A microlitre more is believed to have flowed than a pump was approved for."""
    days = Days()
    intent = days.intents()[0]
    place = days.live.index(intent) + 1
    days.live[place] = ended(intent, intent.command.ul + 1)
    pump = f"{intent.dose.pump} on {BEGIN.date()}"
    assert [("beyond", pump)] == list(wrongs(days.audited()))


@pytest.mark.parametrize("is_sealed", [True, False])
def test_h20_more_that_was_told_after_the_end_is_told(*, is_sealed: bool) -> None:
    """A late word of a node: three times as much; one that says less is no news."""
    days = Days()
    intent = days.one()
    asked_ul, attempt = intent.command.ul, intent.command.attempt
    place = days.live.index(intent) + 1
    if is_sealed:
        days.live[place] = DoseSealed(
            **stamp(intent.at + HOUR), attempt=attempt, reasons=()
        )
    days.live += [
        ChargeRaised(
            **stamp(intent.at + HOUR + (number + 1) * SECOND),
            attempt=attempt,
            pump=intent.dose.pump,
            charge_ul=charge_ul,
        )
        for number, charge_ul in enumerate((3 * asked_ul, 2 * asked_ul))
    ]
    pump = f"{intent.dose.pump} on {BEGIN.date()}"
    found = days.audited()
    assert [("beyond", pump)] == list(wrongs(found))
    (total,) = [
        one
        for one in found.days.values()
        if (one.pump, one.day) == (intent.dose.pump, BEGIN.date())
    ]
    assert total.approved_ul + 2 * asked_ul == total.believed_ul


def test_more_than_was_rehearsed_in_a_day_is_told() -> None:
    """The rehearsal would have given a microlitre less of one dose than approved."""
    days = Days()
    days.promised = {dose.id: dose.volume_ul for dose in days.doses()}
    found = days.audited()
    assert [] == list(wrongs(found))
    assert all(one.rehearsed_ul == one.approved_ul for one in found.days.values())
    intent = days.intents()[0]
    days.promised[intent.dose.id] -= 1
    pump = f"{intent.dose.pump} on {BEGIN.date()}"
    assert [("beyond", pump)] == list(wrongs(days.audited()))


def absent(days: Days) -> DueDose:
    """One dose of which nothing is written."""
    intent = days.one()
    days.drop(intent)
    return intent.dose


def test_a_dose_without_a_word_is_a_finding() -> None:
    """Nothing was written of it although the daemon decided later doses."""
    days = Days()
    gone = absent(days)
    assert [("unexplained", gone.id)] == list(wrongs(days.audited()))


def test_an_empty_reason_explains_nothing() -> None:
    """Written off for no reason at all is as good as silence."""
    days = Days()
    gone = absent(days)
    days.live.append(missed(gone))
    assert [("unexplained", gone.id)] == list(wrongs(days.audited()))


@pytest.mark.parametrize("code", sorted(Code))
def test_every_reason_of_the_gate_has_a_word(code: Code) -> None:
    """The list is closed: a new code that is not in it is told as no reason."""
    days = Days()
    gone = absent(days)
    days.live.append(missed(gone, Code.WINDOW_PASSED, code))
    found = days.audited()
    assert [] == list(wrongs(found))
    assert [(gone.id, WORDS[code])] == [(one.dose, one.reason) for one in found.missing]


def test_the_window_says_least() -> None:
    """Why a dose waited counts before that its time passed."""
    codes = (Code.WINDOW_PASSED, Code.NODE_ABSENT, Code.MANUAL_HOLD)
    assert Missing.NODE_AWAY is word_for(map(because, codes))
    assert Missing.WINDOW is word_for([because(Code.WINDOW_PASSED)])
    assert None is word_for([])


def test_what_nobody_can_tell_is_unknown_and_believed_in_full() -> None:
    """A seal counts as dosed; a void as not, with its own reason."""
    days = Days()
    sealed, voided = days.intents()[2], days.intents()[3]
    for intent, closing in (
        (
            sealed,
            DoseSealed(**stamp(sealed.at), attempt=sealed.command.attempt, reasons=()),
        ),
        (
            voided,
            DoseVoided(
                **stamp(voided.at),
                attempt=voided.command.attempt,
                reasons=(because(Code.NOT_TAKEN),),
            ),
        ),
    ):
        days.live[days.live.index(intent) + 1] = closing
    found = days.audited()
    assert [] == list(wrongs(found))
    assert {sealed.dose.id: Missing.UNKNOWN, voided.dose.id: Missing.NODE_AWAY} == {
        one.dose: one.reason for one in found.missing
    }
    total = found.days[BEGIN.date(), voided.dose.pump, True]
    assert total.approved_ul - voided.command.ul <= total.believed_ul


def test_a_change_of_stage_explains_the_doses_around_it() -> None:
    """Disabled while a dose waits: neither ledger names it, and that is all right."""
    days = Days()
    at = days.one().dose.due_at + SECOND
    kept = [one for one in days.intents() if one.at < at][:-1]
    for intent in days.intents():
        if intent not in kept:
            days.drop(intent)
            days.shadow += [intent, ended(intent)] if intent.at > at else []
    days.rules.append(PumpsDisabled(**stamp(at), by="keeper"))
    found = days.audited()
    assert [] == list(wrongs(found))
    assert {Missing.PLAN} == {one.reason for one in found.missing}
    assert {True, False} == {total.is_live for total in found.days.values()}


def test_doses_that_lie_ahead_are_pending() -> None:
    """Asked in the middle of a day, the audit waits for what may still begin."""
    days = Days()
    for intent in days.intents():
        if intent.at >= BEGIN + DAY:
            days.drop(intent)
    found = days.audited(BEGIN + DAY)
    assert ([], 0) == (list(wrongs(found)), found.pending)


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({}, ""),
        ({"volume_ul": 2999}, "altered"),
        ({"volume_ul": 3001}, ""),
        ({"pump": "trace-reef"}, "altered"),
        ({"until": BEGIN}, "altered"),
        ({"request": "other"}, "extra"),
    ],
)
def test_a_calibration_run_is_as_it_was_asked_for(
    fields: dict[str, object], wrong: str
) -> None:
    """Kind, pump, amount and time of the request decide; it is never an extra."""
    days = Days()
    at = BEGIN + HOUR
    shot = replace(days.doses()[0], id="shot-1", line="", latest_at=at + HOUR)
    request = ShotRequested(
        **stamp(at - SECOND),
        request="shot-1",
        pump=shot.pump,
        volume_ul=shot.volume_ul,
        until=at + HOUR / 2,
        by="keeper",
    )
    days.rules.append(replace(request, **fields))  # type: ignore[arg-type]  # any field
    made = intended(shot, days.machine, at)
    made = replace(made, dose_kind="calibrate", in_water=False)
    days.live += [made, ended(made)]
    found = days.audited()
    assert ([(wrong, "shot-1")] if wrong else []) == list(wrongs(found))
    assert 1 == found.by_request


def test_a_new_calibration_counts_from_its_entry_on() -> None:
    """Doses measured anew run by the new rate, and the approval must name it."""
    days = Days()
    pump, rate = "carbonate-reef", 500_000
    cal = calibration_id(pump, rate)
    days.rules[0] = approved(
        1, BEGIN, (days.machine, days.plan), calibrations={pump: cal}
    )
    days.rules.insert(
        0,
        Calibrated(
            **stamp(BEGIN - SECOND),
            pump=pump,
            rate_nl_per_s=rate,
            cal=cal,
            shots=3,
            spread_percent=1.0,
            proofs=(),
            by="keeper",
        ),
    )
    wrong = {name for kind, name in wrongs(days.audited()) if kind == "altered"}
    assert {one.dose.id for one in days.intents() if one.dose.pump == pump} == wrong
    for intent in days.intents():
        if intent.dose.pump == pump:
            run = {"ms": intent.command.ms * 2, "cut_ms": intent.command.ms * 2 * 115}
            run["cut_ms"] //= 100
            days.change(intent, command=command(intent, cal=cal, **run).command)
    assert [] == list(wrongs(days.audited()))


def test_a_dose_that_two_approvals_name_is_expected_once() -> None:
    """From noon on another plan gives twelve doses of carbonate in the afternoon.

    Six of them were due in the morning by the plan before: whoever named them first.
    """
    days = Days()
    noon = Window(start_minute=720, end_minute=1440)
    lines = [
        replace(line, windows=(noon,)) if line.id == "carbonate" else line
        for line in days.plan.lines
    ]
    later = (days.machine, replace(days.plan, lines=tuple(lines)))
    days.rules.append(approved(2, BEGIN + 12 * HOUR, later))
    history = history_of(list(enumerate(days.rules, start=1)))
    due = [
        (one.dose.partition("#")[2], one.serial)
        for one in asked(history, BEGIN, BEGIN + DAY)
        if one.dose.startswith("reef/carbonate@")
    ]
    assert [(f"{number:02d}", 1 if number <= 6 else 2) for number in range(1, 13)] == (
        sorted(due)
    )


def test_a_withdrawal_of_an_approval_nobody_knows_withdraws_none() -> None:
    """One that is older than what is looked at, beside one that is known."""
    days = Days()
    clean = days.audited()
    gone = PlanWithdrawn(**stamp(BEGIN + HOUR), serial=9, by="keeper")
    days.rules.append(gone)
    assert clean == days.audited()
    days.rules.append(replace(gone, serial=1))
    extra = {wrong for wrong, _ in wrongs(days.audited())}
    assert {"extra"} == extra


def test_a_correction_ends_with_its_approval_and_upkeep_with_its_grace() -> None:
    """After the approval ran out upkeep goes on for its days of grace."""
    days = Days()
    ends, grace = BEGIN + DAY, BEGIN + 3 * DAY
    days.rules[0] = approved(
        1, BEGIN, (days.machine, days.plan), expires_at=ends, grace_until=grace
    )
    assert [] == list(wrongs(days.audited()))
    lines = tuple(
        replace(line, purpose="correction" if line.id == "trace" else line.purpose)
        for line in days.plan.lines
    )
    days.rules[0] = approved(
        1,
        BEGIN,
        (days.machine, replace(days.plan, lines=lines)),
        expires_at=ends,
        grace_until=grace,
    )
    late = [
        one for one in days.intents() if one.at >= ends and one.dose.line == "trace"
    ]
    assert [("extra", one.dose.id) for one in late] == list(wrongs(days.audited()))
