"""`enable`, `disable`, `withdraw`, `hold`, `release`, `clock confirm`."""

import os
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.opening import write
from slackwater.errors import Finding, RefusedError
from slackwater.facts.events import (
    AnyEvent,
    ClockConfirmed,
    HoldRaised,
    HoldReleased,
    PumpsEnabled,
)
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.outside.clock import SystemClock
from slackwater.pump.outcome import Stamp
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import DAY_MS, Stage, stage_of

HOUR_MS = 3_600_000


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def ready(stage: Stage) -> None:
    """Everything that enabling asks for."""
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    stage.shadow()


def hold_for(stage: Stage, code: Code, hold_id: str, scope: str = "all") -> None:
    """A hold as the daemon raises it."""
    raised = HoldRaised(
        **stage.stamp(),
        hold_id=hold_id,
        scope=scope,
        reason=because(code),
        latched=True,
    )
    stage.append(raised)


def places(stage: Stage) -> list[str]:
    """Where the refusal to enable finds something missing."""
    told = stage.run("enable", "--json")
    assert 1 == told.code
    return [error["where"] for error in told.errors]


def test_enables_when_nothing_is_missing(stage: Stage) -> None:
    """The entry names who and which approval; a second time changes nothing."""
    ready(stage)
    assert 0 == stage.run("enable", "--by", "keeper").code
    (event,) = [e for e in stage.events() if isinstance(e, PumpsEnabled)]
    assert ("keeper", 1) == (event.by, event.serial)
    again = stage.run("enable", "--json")
    assert (0, False) == (again.code, again.document["changed"])


def test_enabling_begins_with_half_doses_where_the_file_says_so(
    tmp_path: Path,
) -> None:
    """For three days of proven time, told by the answer and by a status."""
    config = changed(
        tmp_path / "config",
        SMALLEST,
        slackwater=("[broker]", '[timing]\nhalf_stage = "3 d"\n\n[broker]'),
    )
    stage = stage_of(tmp_path, config)
    ready(stage)
    told = stage.run("enable", "--json").document
    assert 3 * 86_400 == told["half_s"]
    assert ["all"] == list(stage.folded().halves)
    assert "Half   all for 2 d 23 h more" in stage.run("status").out
    stage.run("disable")
    assert {} == stage.folded().halves


def test_says_everything_that_is_missing(stage: Stage) -> None:
    """Both pumps and shadow time at once."""
    stage.approve("--now")
    assert ["pump calcium", "pump carbonate", "shadow"] == places(stage)
    assert "shadow" == stage.folded().stage


def test_needs_an_approval_in_force(stage: Stage) -> None:
    """None at all, or one that has not taken over yet; and all the rest with it."""
    whole = ["pump calcium", "pump carbonate", "approval", "shadow"]
    assert whole == places(stage)
    stage.approve()
    assert whole == places(stage)


def test_what_is_missing_comes_with_the_verb_that_meets_it(stage: Stage) -> None:
    """Each by its own; where the files cannot be read, pumps in general."""
    told = stage.run("enable", "--json").errors
    verbs = ["calibrate calcium", "calibrate carbonate", "rehearse --faults", "run"]
    assert verbs == [
        one["do"].partition("`slackwater ")[2].split("`")[0] for one in told
    ]
    stage.config = stage.state
    assert ["pumps", "approval", "shadow"] == places(stage)


@pytest.mark.parametrize(("lasted_ms", "enough"), [(DAY_MS - 60_000, 0), (DAY_MS, 1)])
def test_needs_a_day_of_proven_shadow(
    stage: Stage, lasted_ms: int, enough: int
) -> None:
    """A minute less is not enough."""
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow(lasted_ms)
    assert (1 - enough) == stage.run("enable").code


@pytest.mark.parametrize("proofs", [("identity",), ("identity", "cut-off")])
def test_needs_every_proof(stage: Stage, proofs: tuple[str, ...]) -> None:
    """A calibration without all its proofs is not commissioning."""
    stage.commission("carbonate", proofs=proofs)
    stage.commission("calcium")
    stage.approve("--now")
    stage.shadow()
    assert ["pump carbonate"] == places(stage)


def test_needs_the_calibration_that_was_approved(stage: Stage) -> None:
    """A measurement after the approval asks for another approval."""
    stage.approve("--now")
    stage.commission("carbonate", "calcium")
    stage.shadow()
    assert ["pump calcium", "pump carbonate"] == places(stage)


def test_needs_quiet_hours(stage: Stage) -> None:
    """A clock hold stands, then ended less than six hours ago, then more."""
    ready(stage)
    hold_for(stage, Code.CLOCK_JUMPED, "clock-jumped")
    assert ["holds"] == places(stage)
    stage.run("clock", "confirm", "--yes")
    assert ["holds"] == places(stage)
    stage.shadow(6 * HOUR_MS)
    assert 0 == stage.run("enable").code


def test_a_hold_by_a_person_does_not_hinder(stage: Stage) -> None:
    """Enabling with a pump held is fine: the hold goes on."""
    ready(stage)
    stage.run("hold", "--scope", "pump/calcium")
    assert 0 == stage.run("enable").code


def test_disabling_needs_no_condition_and_begins_anew(stage: Stage) -> None:
    """Back in shadow; the time in shadow counts from nothing again."""
    ready(stage)
    stage.run("enable")
    assert 0 == stage.run("disable", "--why", "new tubes").code
    assert "shadow" == stage.folded().stage
    assert ["shadow"] == places(stage)
    assert False is stage.run("disable", "--json").document["changed"]


def test_a_withdrawn_approval_is_gone(stage: Stage) -> None:
    """It cannot be withdrawn twice, and the next one has a new number."""
    stage.approve("--now")
    assert 0 == stage.run("withdraw", "1", "--why", "wrong bottle").code
    assert 1 == stage.run("withdraw", "1").code
    assert 2 == stage.approve("--now").document["serial"]


@pytest.mark.parametrize("serial", ["0", "-1", "one", "1.0"])
def test_a_serial_is_a_whole_number(stage: Stage, serial: str) -> None:
    """Anything else is wrong usage."""
    assert 2 == stage.run("withdraw", "--", serial).code


@pytest.mark.parametrize(
    "scope",
    ["all", "tank/reef", "pump/calcium", "node/shelf", "alkalinity/reef"],
)
def test_holds_what_it_names(stage: Stage, scope: str) -> None:
    """A latched hold of this scope with its note, released by name."""
    told = stage.run("hold", "--scope", scope, "--note", "tube leaks", "--json")
    assert 0 == told.code
    name = str(told.document["hold"])
    raised = stage.folded().holds[name]
    assert (scope, "tube leaks", True) == (raised.scope, raised.note, raised.latched)
    released = stage.run("release", name, "--by", "keeper", "--json").document
    assert [name] == [one["hold"] for one in released["released"]]  # type: ignore[attr-defined]  # a list of tables
    assert {} == stage.folded().holds


@pytest.mark.parametrize("scope", ["", "pump", "pump/kalk", "tank/", "reef", "ALL"])
def test_an_unknown_scope_holds_nothing(stage: Stage, scope: str) -> None:
    """A slip must not look like a hold."""
    told = stage.run("hold", "--scope", scope, "--json")
    assert (2, 1) == (told.code, len(told.errors))
    assert {} == stage.folded().holds


def test_releases_all_and_lists_them(stage: Stage) -> None:
    """Every hold with its reason, also those the daemon raised."""
    stage.run("hold", "--note", "hands in the tank")
    hold_for(stage, Code.OVER_DELIVERED, "over-delivered/calcium", "pump/calcium")
    assert 1 == stage.run("release", "--all").code
    stage.commission("calcium")
    told = stage.run("release", "--all")
    assert 0 == told.code
    assert '"hands in the tank"' in told.out
    assert "over-delivered/calcium (pump/calcium)" in told.out
    assert "Nothing was held." in stage.run("release", "--all").out


def test_a_pump_that_gave_too_much_is_measured_before_it_runs_again(
    stage: Stage,
) -> None:
    """That pump goes back to its commissioning, and another calibration is no help."""
    hold_for(stage, Code.OVER_DELIVERED, "over-delivered/calcium", "pump/calcium")
    stage.commission("carbonate")
    told = stage.run("release", "over-delivered/calcium", "--json")
    assert ["pump calcium was not calibrated since it was held"] == [
        error["what"] for error in told.errors
    ]
    stage.commission("calcium")
    assert 0 == stage.run("release", "over-delivered/calcium").code


def test_releases_nothing_when_one_name_is_wrong(stage: Stage) -> None:
    """Whole or not at all."""
    name = str(stage.run("hold", "--json").document["hold"])
    assert 1 == stage.run("release", name, "other").code
    assert [name] == list(stage.folded().holds)


@pytest.mark.parametrize("words", [(), ("--all", "hold/1")])
def test_release_says_which(stage: Stage, words: tuple[str, ...]) -> None:
    """Names or all, not both and not neither."""
    assert 2 == stage.run("release", *words).code


def test_confirming_the_clock_ends_its_holds(stage: Stage) -> None:
    """The confirmation and the release stand in the record; other holds stay."""
    hold_for(stage, Code.CLOCK_JUMPED, "clock-jumped")
    stage.run("hold")
    told = stage.run("clock", "confirm", "--json", typed="y\n")
    assert (0, ["clock-jumped"]) == (told.code, told.document["released"])
    kinds = [type(event) for event in stage.events()[-2:]]
    assert [ClockConfirmed, HoldReleased] == kinds
    state = stage.folded()
    assert SystemClock().now().boot_id == state.clock_confirmed_boot
    assert 1 == len(state.holds)


@pytest.mark.parametrize(("typed", "code"), [("n\n", 1), ("", 2)])
def test_a_wrong_clock_is_not_confirmed(stage: Stage, typed: str, code: int) -> None:
    """No, or no answer: nothing is written."""
    before = len(stage.events())
    assert code == stage.run("clock", "confirm", typed=typed).code
    assert before == len(stage.events())


def from_tomorrow(stage: Stage) -> None:
    """An entry a day ahead of the clock."""
    stamp = stage.stamp()
    stamp["at"] += timedelta(days=1)
    reason = because(Code.MANUAL_HOLD)
    raised = HoldRaised(
        **stamp, hold_id="later", scope="all", reason=reason, latched=True
    )
    stage.append(raised)


def test_a_clock_behind_the_record_lets_only_the_safer_pass(stage: Stage) -> None:
    """Nothing is released or approved; a hold goes through; a confirmation ends it."""
    from_tomorrow(stage)
    assert 1 == stage.run("release", "--all").code
    assert 1 == stage.approve().code
    assert 0 == stage.run("clock", "confirm", "--yes").code
    assert 0 == stage.run("release", "--all").code


def test_a_hold_passes_whatever_the_clock_says(stage: Stage) -> None:
    """Stopping never waits for a clock."""
    from_tomorrow(stage)
    assert 0 == stage.run("hold").code


def test_decides_anew_when_somebody_else_wrote(stage: Stage) -> None:
    """The second decision sees the entry that came in between."""
    seen: list[int] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        seen.append(len(state.holds))
        if len(seen) == 1:
            assert 0 == stage.run("hold").code
        reason = because(Code.MANUAL_HOLD)
        hold_id = f"mine-{len(seen)}"
        return [
            HoldRaised(
                **stamp, hold_id=hold_id, scope="all", reason=reason, latched=True
            )
        ]

    state, _events = write(stage.state, decide)
    assert [0, 1] == seen
    assert "mine-2" in state.holds
    assert "mine-1" not in state.holds


def test_a_refusal_writes_nothing(stage: Stage) -> None:
    """What is refused while deciding leaves the record as it was."""
    before = len(stage.events())
    with pytest.raises(RefusedError):
        write(stage.state, _refuse)
    assert before == len(stage.events())


def _refuse(_state: State, _stamp: Stamp) -> Sequence[AnyEvent]:
    finding = Finding(what="no", where="test", expected="yes", do="Try again.")
    raise RefusedError(finding)


def test_a_ledger_of_another_user_is_not_a_broken_disk(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who may read and not write is told so, in both directions."""
    monkeypatch.setattr(os, "access", lambda _path, mode: not mode & os.W_OK)
    told = stage.run("hold", "--json")
    assert 2 == told.code
    assert "this user may not read or write it" == told.errors[0]["what"]
    assert 0 == stage.run("status").code
    monkeypatch.setattr(os, "access", lambda _path, _mode: False)
    assert 2 == stage.run("status").code


def test_a_word_about_a_hold_never_keeps_it_from_being_raised(stage: Stage) -> None:
    """What cannot be printed is left out, what is too long is kept in part."""
    told = stage.run("hold", "--note", "a\x1b[31m\nb " + "x" * 300, "--by", "y" * 90)
    assert 0 == told.code
    (raised,) = stage.folded().holds.values()
    assert raised.note.isprintable()
    assert raised.note.startswith("a[31m b xx")
    assert (200, "y" * 40) == (len(raised.note), raised.by)
    assert 2 == stage.run("release", "--all", "--why", "x" * 300).code
    assert stage.folded().holds


def test_withdrawing_without_an_approval_says_so(stage: Stage) -> None:
    """There is nothing to choose from."""
    told = stage.run("withdraw", "1", "--json")
    assert 1 == told.code
    assert "an approval that stands; there is none" == told.errors[0]["expected"]
