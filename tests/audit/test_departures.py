"""What departs from what was approved: each field, each slip of a program (D7)."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.doses import DoseHanded, DoseIntended, attempt_id
from slackwater.facts.events import (
    PlanApproved,
    PlanWithdrawn,
    PumpsDisabled,
)
from slackwater.facts.inputs import InputsKept
from slackwater.facts.reasons import Code, because
from tests.audit.books import (
    BEGIN,
    Days,
    approved,
    ended,
    missed,
    stamp,
    wrongs,
)
from tests.ledger.audit_samples import inputs

HOUR = timedelta(hours=1)
SECOND = timedelta(seconds=1)
Slip = Callable[[Days, DoseIntended], None]


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


def beaten(intent: DoseIntended, **fields: object) -> InputsKept:
    """What the decision saw of its node, with another field."""
    kept = inputs(stamp(intent.at))
    changed = {"boot": intent.command.boot, **fields}
    node = replace(kept.nodes["shelf"], **changed)  # type: ignore[arg-type]  # any field
    return replace(kept, nodes={intent.command.node: node})


@pytest.mark.parametrize(
    ("fields", "is_wrong"),
    [
        ({}, False),
        ({"hw": "virtual-2"}, True),
        ({"cfg": "00000000"}, True),
        ({"boot": "another"}, True),
    ],
)
def test_h24_each_dose_went_to_the_approved_device(
    fields: dict[str, object], *, is_wrong: bool
) -> None:
    """Hardware and configuration of the beat it rested on are those of the approval."""
    days = Days()
    intent = days.one()
    seen = inputs(stamp(BEGIN)).nodes["shelf"]
    hardware = {intent.command.node: (seen.hw, seen.cfg)}
    text = days.machine, days.plan
    days.rules[0] = approved(1, BEGIN, text, hardware=hardware)
    days.live.insert(days.live.index(intent), beaten(intent, **fields))
    expected = [("altered", intent.dose.id)] if is_wrong else []
    assert expected == list(wrongs(days.audited()))


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
