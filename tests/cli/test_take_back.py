"""Taking back what was asked for by hand and still waits (H55)."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.asked_by_hand import waiting
from slackwater.cli.commands.taking_back import taken_back
from slackwater.cli.opening import write
from slackwater.errors import LedgerMovedError
from slackwater.facts.doses import (
    DoseEnded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    RequestTakenBack,
)
from slackwater.facts.events import AnyEvent, ClockConfirmed, ShotRequested
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.service.memory import Memory
from tests.audit.books import intended
from tests.cli.stage import Stage, beside_a_daemon, stage_of

DOSE = ("dose", "carbonate", "2 mL", "--reason", "a test was low", "--by", "keeper")


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """The smallest sample, live, beside a daemon; 5 mL may be given by hand."""
    with beside_a_daemon(tmp_path) as made:
        yield made


def asked(stage: Stage, *words: object) -> ShotRequested:
    """A dose of 2 mL of carbonate by hand, or what these words ask for."""
    assert 0 == stage.run(*(words or DOSE)).code  # type: ignore[arg-type]  # words
    return waiting(stage.folded())[-1]


def ended(stage: Stage) -> list[RequestTakenBack]:
    """What was taken back."""
    return [one for one in stage.events() if isinstance(one, RequestTakenBack)]


def as_dose(request: ShotRequested) -> DueDose:
    """The request as a turn looks at it."""
    return DueDose(
        id=request.request,
        line="",
        tank="reef",
        pump=request.pump,
        local_day=request.at.date(),
        ordinal=1,
        due_at=request.at,
        latest_at=request.until,
        volume_ul=request.volume_ul,
    )


def intent_of(stage: Stage, request: ShotRequested) -> DoseIntended:
    """What the daemon writes when it begins a request."""
    made = intended(as_dose(request), read_machine(stage.config))
    return replace(made, **stage.stamp(), dose_kind="manual")


def begin(stage: Stage, request: ShotRequested) -> DoseIntended:
    """Let the daemon begin it."""
    made = intent_of(stage, request)
    stage.append(made)
    return made


def test_h55_what_waits_is_taken_back_once_and_for_all(stage: Stage) -> None:
    """By its own name: an entry with who and why, and nothing waits any more."""
    request = asked(stage)
    told = stage.run(
        *("take-back", request.request, "--reason", "a slip", "--by", "sitter"),
        "--json",
    )
    assert 0 == told.code, told.out
    (entry,) = ended(stage)
    assert (request.request, "carbonate", 2000, "sitter", "a slip") == (
        entry.request,
        entry.pump,
        entry.volume_ul,
        entry.by,
        entry.why,
    )
    assert [{"request": entry.request, "pump": "carbonate", "volume_ul": 2000}] == (
        told.document["taken_back"]
    )
    assert {} == stage.folded().requests


def test_h55_taken_back_twice_it_is_fine_and_nothing_is_added(stage: Stage) -> None:
    """Whoever is not sure may say it again."""
    request = asked(stage)
    for _ in range(2):
        told = stage.run("take-back", request.request)
        assert 0 == told.code, told.err
    assert "was taken back before" in told.out
    assert 1 == len(ended(stage))


def test_h55_with_the_name_of_a_pump_all_of_it_is_taken_back(stage: Stage) -> None:
    """What fills its hose as well; another pump's dose still waits."""
    first = asked(stage)
    second = asked(stage, "prime", "carbonate", "3 mL", "--outlet-out")
    other = asked(stage, "dose", "calcium", "1 mL", *DOSE[3:])
    told = stage.run("take-back", "carbonate")
    assert 0 == told.code, told.err
    assert f"Taken back: 3 mL of carbonate ({second.request})." in told.out
    assert [first.request, second.request] == [one.request for one in ended(stage)]
    assert [other] == waiting(stage.folded())


def test_h55_asked_for_again_at_once_it_is_another_wish(stage: Stage) -> None:
    """Nothing stands that it could be taken for."""
    first = asked(stage)
    assert 0 == stage.run("take-back", first.request).code
    again = asked(stage)
    assert again.request != first.request


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("begun", "charged in full; nothing is known of it yet; asked 2 mL"),
        ("ended", "dosed; asked 2 mL, charged 2 mL, believed 1.9 mL"),
        ("missed", "missed, will not be made up; asked nothing"),
    ],
)
def test_h55_what_was_begun_is_told_with_what_it_did(
    stage: Stage, how: str, said: str
) -> None:
    """Nothing is written; what may still run is told how to stop."""
    request = asked(stage)
    if how == "missed":
        expired = (because(Code.REQUEST_EXPIRED),)
        stage.append(
            DoseMissed(**stage.stamp(), dose=as_dose(request), reasons=expired)
        )
    else:
        intent = begin(stage, request)
        if how == "ended":
            stage.append(end_of(stage, intent))
    told = stage.run("take-back", request.request, "--json")
    assert (1, []) == (told.code, ended(stage))
    (error,) = told.errors
    assert error["what"].startswith(f"{request.request} waits no more: {said}")
    stops = "`slackwater hold --scope pump/carbonate` stops what runs" in error["do"]
    assert stops == (how == "begun")
    by_pump = stage.run("take-back", "carbonate", "--json")
    assert (1, error["what"]) == (by_pump.code, by_pump.errors[0]["what"])


def end_of(stage: Stage, intent: DoseIntended) -> DoseEnded:
    """It ended, and gave a little less."""
    return DoseEnded(
        **stage.stamp(),
        attempt=intent.command.attempt,
        how="full",
        believed_ul=1900,
        charge_ul=2000,
        source="reported",
    )


@pytest.mark.parametrize(
    ("name", "code", "what"),
    [
        ("hand-9", 2, 'nothing that was asked for by hand is called "hand-9"'),
        ("calcium", 1, "nothing that was asked for by hand waits for calcium"),
        ("reef/carbonate@2026-05-03#01", 2, "is a dose of the plan"),
    ],
)
def test_h55_what_nobody_asked_for_is_not_taken_back(
    stage: Stage, name: str, code: int, what: str
) -> None:
    """One clear error, which names what does wait."""
    request = asked(stage)
    told = stage.run("take-back", name, "--json")
    assert (code, []) == (told.code, ended(stage))
    assert what in told.errors[0]["what"]
    assert (request.request in told.errors[0]["expected"]) == (name == "hand-9")


def test_h55_neither_hold_nor_clock_nor_daemon_keeps_it_from_being_taken_back(
    stage: Stage,
) -> None:
    """Everything held, and the newest entry a day ahead: other verbs are refused."""
    request = asked(stage)
    assert 0 == stage.run("hold").code
    ahead: Stamp = {**stage.stamp(), "at": stage.stamp()["at"] + timedelta(days=1)}
    stage.append(ClockConfirmed(**ahead, boot_id="another", by="keeper"))
    assert "the clock says" in stage.run("release", "--all").err
    assert 0 == stage.run("take-back", request.request).code
    assert [request.request] == [one.request for one in ended(stage)]


def test_h55_without_a_daemon_what_waits_is_taken_back(tmp_path: Path) -> None:
    """One that starts within the half hour would give it."""
    made = stage_of(tmp_path)
    stamp = made.stamp()
    request = ShotRequested(
        **stamp,
        request="hand-1",
        pump="carbonate",
        volume_ul=2000,
        until=stamp["at"] + timedelta(minutes=30),
        by="keeper",
        purpose="manual",
    )
    made.append(request)
    assert 0 == made.run("take-back", "hand-1").code
    assert {} == made.folded().requests


def test_h55_a_daemon_that_was_first_has_begun_it(stage: Stage) -> None:
    """Its intent came between reading and writing: decided anew, nothing is ended."""
    request = asked(stage)
    seen: list[int] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        made = taken_back(state, stamp, request.request, ("keeper", ""))
        seen.append(len(made))
        if len(seen) == 1:
            begin(stage, request)
        return made

    write(stage.state, decide, makes_safer=True)
    assert ([1, 0], []) == (seen, ended(stage))
    assert {request.request} == {
        one.dose.id for one in stage.events() if isinstance(one, DoseIntended)
    }


def test_h55_a_person_who_was_first_leaves_nothing_to_begin(stage: Stage) -> None:
    """The ledger refuses the intent, and the news leaves no request to look at."""
    request = asked(stage)
    memory = Memory(stage.state, "live")
    memory.open()
    try:
        assert [request.request] == list(memory.state.requests)
        assert 0 == stage.run("take-back", request.request).code
        with pytest.raises(LedgerMovedError):
            memory.append([intent_of(stage, request)])
        memory.news()
        assert {} == memory.state.requests
    finally:
        memory.close()
    assert [] == [one for one in stage.events() if isinstance(one, DoseIntended)]


def test_a_status_names_what_waits_until_it_is_taken_back(stage: Stage) -> None:
    """With the word that takes it back; afterwards it tells nothing of it."""
    request = asked(stage)
    asked(stage, "dose", "calcium", "1 mL", *DOSE[3:])
    page = " ".join(stage.run("status").out.split())
    assert "Asked 2 mL of carbonate by keeper, given until" in page
    assert f"`slackwater take-back {request.request}`; 1 more: --json" in page
    told = stage.run("status", "--json").document["asked_by_hand"]
    assert isinstance(told, list)
    assert [("carbonate", True), ("calcium", True)] == [
        (one["pump"], one["in_water"]) for one in told
    ]
    for pump in ("carbonate", "calcium"):
        assert 0 == stage.run("take-back", pump).code
    assert "Asked " not in stage.run("status").out
    assert [] == stage.run("status", "--json").document["asked_by_hand"]


def test_why_knows_what_waits_before_a_daemon_has_looked_at_it(stage: Stage) -> None:
    """The name that the answer of `dose` told, a moment later."""
    request = asked(stage)
    told = stage.run("why", request.request)
    assert 0 == told.code, told.err
    assert (
        f"{request.request}  waits: 2 mL of carbonate asked for by keeper" in told.out
    )
    assert f"`slackwater take-back {request.request}`" in told.out
    document = stage.run("why", request.request, "--json").document
    assert ("waits", "carbonate") == (
        document["became"],
        document["asked"]["pump"],  # type: ignore[index]  # a document
    )
    assert 2 == stage.run("why", "hand-9").code


def test_it_is_told_wherever_people_look_back(stage: Stage) -> None:
    """Why, the ledger, what happened since, and an audit that finds nothing amiss."""
    request = asked(stage)
    waits = (because(Code.MANUAL_HOLD),)
    held = DoseHeld(
        **stage.stamp(), dose_id=request.request, pump="carbonate", reasons=waits
    )
    stage.append(held)
    words = ("--reason", "a slip", "--by", "sitter")
    assert 0 == stage.run("take-back", request.request, *words).code
    why = stage.run("why", request.request)
    assert 0 == why.code
    assert f"{request.request}  taken back before it was given" in why.out
    assert "request taken back, by sitter (a slip)" in why.out
    assert "Ends: " not in why.out
    page = " ".join(stage.run("ledger").out.split())
    assert "request_taken_back" in page
    doses = " ".join(stage.run("ledger", "--rows", "doses").out.split())
    assert f"{request.request} taken back 2 mL 0 µL 0 µL manual-hold" in doses
    since = " ".join(stage.run("since", "1h").out.split())
    assert "2 mL asked of carbonate taken back (a slip)" in since
    assert "sitter" in since
    audit = stage.run("audit", "--json").document
    assert [] == audit["departures"]


def test_whoever_asks_is_told_how_to_take_it_back(stage: Stage) -> None:
    """In the answer itself, with the name to type."""
    told = stage.run(*DOSE)
    (request,) = waiting(stage.folded())
    assert f"`slackwater take-back {request.request}` while it waits" in told.out
