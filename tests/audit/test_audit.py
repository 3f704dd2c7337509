"""What the audit finds: clean days, every slip of a program, every reason (D7)."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.audit.reasons import WORDS, Missing, word_for
from slackwater.facts.doses import DoseHanded, DoseIntended, DoseSealed, DoseVoided
from slackwater.facts.events import (
    Calibrated,
    PlanApproved,
    PlanWithdrawn,
    PumpsDisabled,
    ShotRequested,
)
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.pump.command import attempt_id, calibration_id
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


def command(intent: DoseIntended, **fields: object) -> DoseIntended:
    """The intent with another command."""
    return replace(intent, command=replace(intent.command, **fields))  # type: ignore[arg-type]  # any field


def dose(intent: DoseIntended, **fields: object) -> DoseIntended:
    """The intent of another dose."""
    return replace(intent, dose=replace(intent.dose, **fields))  # type: ignore[arg-type]  # any field


ALTERED: dict[str, Callable[[DoseIntended], DoseIntended]] = {
    "more": lambda one: command(one, ul=one.command.ul + 1),
    "less without a reason": lambda one: command(one, ul=one.command.ul - 1),
    "planned as more": lambda one: replace(one, planned_ul=one.planned_ul + 1),
    "another pump": lambda one: dose(one, pump="trace-reef"),
    "another channel": lambda one: command(one, channel="trace"),
    "another node": lambda one: command(one, node="shelf-lagoon"),
    "another solution": lambda one: replace(one, solution="trace"),
    "a longer run": lambda one: command(one, ms=one.command.ms + 1),
    "a later cut": lambda one: command(one, cut_ms=one.command.cut_ms + 1),
    "a cut within the run": lambda one: command(one, cut_ms=one.command.ms - 1),
    "another calibration": lambda one: command(one, cal="0badcafe"),
    "an hour early": lambda one: replace(one, at=one.at - HOUR),
    "after its latest start": lambda one: replace(one, at=one.dose.latest_at + HOUR),
    "may begin for ever": lambda one: dose(one, latest_at=one.dose.due_at + 3 * HOUR),
    "due in another share": lambda one: dose(one, due_at=one.dose.due_at + 2 * HOUR),
    "another name": lambda one: dose(one, id=f"{one.dose.id}x"),
    "not counted": lambda one: replace(one, in_water=False),
}


@pytest.mark.parametrize("slip", ALTERED)
def test_one_field_that_is_not_as_approved_is_altered(slip: str) -> None:
    """Each field alone, by the least there is; no other dose is blamed."""
    days = Days()
    intent = days.one()
    days.change(intent, **_changed(intent, ALTERED[slip](intent)))
    found = days.audited()
    assert "altered" in {wrong for wrong, _ in wrongs(found)}
    own = {intent.dose.id, f"{intent.dose.id}x"}
    assert own >= {name for wrong, name in wrongs(found) if wrong == "altered"}


def _changed(before: DoseIntended, after: DoseIntended) -> dict[str, object]:
    names = DoseIntended.__dataclass_fields__
    return {
        name: getattr(after, name)
        for name in names
        if getattr(after, name) != getattr(before, name) and names[name].init
    }


def test_a_shortened_dose_says_why_and_is_as_approved() -> None:
    """Less than planned, never more, with a reason of the gate."""
    days = Days()
    intent = days.one()
    shorter = command(intent, ul=1500, ms=1500, cut_ms=1725)
    days.change(
        intent,
        command=shorter.command,
        verdict="shortened",
        reasons=(because(Code.ALKALINITY_STALE),),
    )
    assert [] == list(wrongs(days.audited()))


def test_a_lower_limit_of_the_node_may_cut_sooner() -> None:
    """It counts at once, without a consent: that is no departure."""
    days = Days()
    intent = days.one()
    days.change(intent, command=command(intent, cut_ms=intent.command.ms).command)
    assert [] == list(wrongs(days.audited()))


def test_a_pulse_of_one_length_gives_what_it_gives() -> None:
    """Behind a relay that knows no other length: as much as flows in it, never more."""
    days = Days()
    intent, entry = days.one(), days.rules[0]
    assert isinstance(entry, PlanApproved)
    text = entry.machine.replace('"relay":null,', "")
    text = text.replace('"signed":', '"relay":{"always_ms":"2990"},"signed":')
    days.rules[0] = replace(entry, machine=text)
    pulse = command(intent, ul=2990, ms=2990, cut_ms=3438)
    days.change(intent, command=pulse.command)
    blamed = {name for _, name in wrongs(days.audited())}
    assert intent.dose.id not in blamed
    (pulse,) = (one for one in days.intents() if one.dose.id == intent.dose.id)
    days.change(pulse, command=command(pulse, ul=2991).command)
    assert ("altered", intent.dose.id) in list(wrongs(days.audited()))


def resend(days: Days, intent: DoseIntended) -> None:
    """After a restart the command goes out once more."""
    again = stamp(intent.at + 30 * SECOND)
    for at in (intent.at + SECOND, again["at"]):
        days.live.append(
            DoseHanded(**stamp(at), attempt=intent.command.attempt, certain=True)
        )


def second_intent(days: Days, intent: DoseIntended) -> None:
    """The same dose is intended anew, as another attempt."""
    again = replace(intent, at=intent.at + 10 * SECOND)
    days.live.append(command(again, attempt=attempt_id("other", intent.dose.id)))


def catch_up(days: Days, intent: DoseIntended) -> None:
    """A dose that was missed and written off is given in the evening."""
    days.drop(intent)
    days.live.append(missed(intent.dose, Code.NODE_ABSENT))
    days.give(intent.dose, intent.dose.latest_at + 2 * HOUR)


def double_hour(days: Days, intent: DoseIntended) -> None:
    """An hour that is lived through twice brings one dose more."""
    number = intent.dose.ordinal + 100
    name = intent.dose.id.replace(f"#{intent.dose.ordinal:02d}", f"#{number}")
    again = replace(intent.dose, id=name, ordinal=number)
    days.give(replace(again, due_at=again.due_at + 600 * SECOND))


def stale_approval(days: Days, intent: DoseIntended) -> None:
    """The approval was withdrawn before, and doses go on."""
    days.rules.append(PlanWithdrawn(**stamp(intent.at - SECOND), serial=1, by="keeper"))


def ended_approval(days: Days, intent: DoseIntended) -> None:
    """The approval ran out a second before."""
    text = days.machine, days.plan
    days.rules[0] = approved(1, BEGIN, text, expires_at=intent.at - SECOND)


def shadow_used_live(days: Days, intent: DoseIntended) -> None:
    """Pumps were disabled, and doses still go to the live ledger."""
    days.rules.append(PumpsDisabled(**stamp(intent.at - SECOND), by="keeper"))


def live_used_as_shadow(days: Days, intent: DoseIntended) -> None:
    """Pumps are enabled, and a dose is only imagined."""
    days.drop(intent)
    days.shadow += [intent, ended(intent)]


def unknown_line(days: Days, intent: DoseIntended) -> None:
    """A dose of a line that the plan does not have."""
    days.give(replace(intent.dose, id="reef/lye@2026-05-03#01", line="lye"))


def unasked_shot(days: Days, intent: DoseIntended) -> None:
    """A calibration run that nobody asked for."""
    days.change(intent, dose_kind="calibrate")


D7: dict[Slip, str] = {
    resend: "duplicate",
    second_intent: "duplicate",
    catch_up: "extra",
    double_hour: "extra",
    stale_approval: "extra",
    ended_approval: "extra",
    shadow_used_live: "extra",
    live_used_as_shadow: "extra",
    unknown_line: "extra",
    unasked_shot: "extra",
}


@pytest.mark.parametrize("slip", D7, ids=lambda slip: slip.__name__)
def test_d7_a_fault_that_only_bites_live_is_caught(slip: Slip) -> None:
    """Resend, catch-up, double hour, stale approval, the wrong ledger: each is told."""
    days = Days()
    slip(days, days.one())
    assert D7[slip] in {wrong for wrong, _ in wrongs(days.audited())}


def test_more_than_approved_in_a_day_is_told() -> None:
    """A microlitre more is believed to have flowed than a pump was approved for."""
    days = Days()
    intent = days.intents()[0]
    place = days.live.index(intent) + 1
    days.live[place] = ended(intent, intent.command.ul + 1)
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
        ({"volume_ul": 999}, "altered"),
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
