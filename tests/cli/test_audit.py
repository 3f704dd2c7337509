"""`audit`: the page, the document, the exit code and the times asked for."""

import json
import logging
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import jsonschema
import pytest
import structlog

from slackwater.cli.audit_document import schema
from slackwater.facts.audits import Audited
from slackwater.facts.doses import ChargeRaised, DoseIntended
from slackwater.facts.events import AnyEvent, LedgerMade
from slackwater.facts.plan import DueDose
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME, SHADOW_NAME
from tests.audit.simulated import LASTS, Simulated, draw
from tests.cli.run_program import SMALLEST, Outcome, run
from tests.cli.stage import stage_of
from tests.ledger.audit_samples import audited as found_before
from tests.ledger.samples import intended

# A generated plan of forty-two doses in two days.
SEED, SCREEN = 0, 80


@pytest.fixture(scope="module")
def lived() -> Simulated:
    """Two days of a generated plan, lived through."""
    worst = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=worst)
    stage = Simulated(*draw(SEED))
    stage.live_through()
    structlog.reset_defaults()
    return stage


def write_ledger(folder: Path, events: list[AnyEvent]) -> Path:
    """A state directory with these entries in its ledger."""
    folder.mkdir()
    made = events[0]
    assert isinstance(made, LedgerMade)
    with LedgerFile.create(folder / LIVE_NAME, made) as ledger:
        ledger.append(events[1:])
    return folder


def ask(state: Path, *words: object) -> Outcome:
    """Run the verb on a state directory."""
    return run("audit", "--state", state, "--config", SMALLEST, *words)


def span(stage: Simulated) -> tuple[str, ...]:
    """The options for the two days."""
    first, last = stage.begins, stage.begins + LASTS
    return "--from", f"{first:%Y-%m-%dT%H:%MZ}", "--until", f"{last:%Y-%m-%dT%H:%MZ}"


def judge() -> jsonschema.Draft202012Validator:
    """The schema, itself a sound one."""
    jsonschema.Draft202012Validator.check_schema(schema())
    return jsonschema.Draft202012Validator(schema())


def test_two_days_as_approved_end_with_nought(lived: Simulated, tmp_path: Path) -> None:
    """Every dose was given: the document counts them and finds no fault."""
    state = write_ledger(tmp_path / "state", lived.book.events())
    told = ask(state, *span(lived), "--json")
    assert 0 == told.code
    document = told.document
    judge().validate(document)
    assert (True, [1], []) == (
        document["ok"],
        document["approvals"],
        document["missing"],
    )
    wrongs = ("extra", "altered", "duplicate", "unexplained", "beyond")
    assert dict.fromkeys(wrongs, 0) == {name: document[name] for name in wrongs}
    days = document["days"]
    assert isinstance(days, list)
    assert 42 == sum(day["given"] for day in days)
    assert all(day["rehearsed_ul"] == day["approved_ul"] for day in days)


def test_the_page_fits_a_screen(
    lived: Simulated, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eighty columns, figures for each pump and day, faults nought."""
    monkeypatch.setenv("COLUMNS", str(SCREEN))
    state = write_ledger(tmp_path / "state", lived.book.events())
    text = ask(state, *span(lived)).out
    assert max(map(len, text.splitlines())) <= SCREEN
    assert "Faults    extra 0, altered 0, duplicate 0, unexplained 0, beyond 0" in text
    assert "Dosed     42 doses" in text


def altered(events: list[AnyEvent]) -> list[AnyEvent]:
    """The entries with a microlitre more in the first dose."""
    place = next(i for i, e in enumerate(events) if isinstance(e, DoseIntended))
    intent = events[place]
    assert isinstance(intent, DoseIntended)
    more = replace(intent.command, ul=intent.command.ul + 1)
    return [*events[:place], replace(intent, command=more), *events[place + 1 :]]


def test_a_microlitre_too_much_is_told_and_ends_with_one(
    lived: Simulated, tmp_path: Path
) -> None:
    """The page names the dose, the document lists it among its errors as well."""
    events = altered(lived.book.events())
    state = write_ledger(tmp_path / "state", events)
    intent = next(event for event in events if isinstance(event, DoseIntended))
    told = ask(state, *span(lived), "--json")
    judge().validate(told.document)
    assert (1, False) == (told.code, told.document["ok"])
    assert {intent.dose.id} >= {error["where"] for error in told.errors[:1]}
    text = ask(state, *span(lived)).out
    assert "ALTERED: begun otherwise than approved" in text
    assert f"  {intent.dose.id}  " in text


def test_h20_more_that_a_node_told_later_is_told(
    lived: Simulated, tmp_path: Path
) -> None:
    """Twice as much, by and by: beyond what was approved, and what was rehearsed."""
    events = lived.book.events()
    intent = next(e for e in events if isinstance(e, DoseIntended))
    last = events[-1]
    more = ChargeRaised(
        at=last.at,
        boot_s=last.boot_s,
        proven_ms=last.proven_ms,
        attempt=intent.command.attempt,
        pump=intent.dose.pump,
        charge_ul=2 * intent.command.ul,
    )
    state = write_ledger(tmp_path / "state", [*events, more])
    told = ask(state, *span(lived), "--json")
    assert (1, 2) == (told.code, told.document["beyond"])


def test_a_lost_entry_is_a_dose_without_a_word(
    lived: Simulated, tmp_path: Path
) -> None:
    """Every entry of one dose is gone: it is missing, and nobody says why."""
    events = lived.book.events()
    intents = [event for event in events if isinstance(event, DoseIntended)]
    gone = intents[len(intents) // 2]
    kept = [
        event
        for event in events
        if event is not gone and getattr(event, "attempt", "") != gone.command.attempt
    ]
    state = write_ledger(tmp_path / "state", kept)
    document = ask(state, *span(lived), "--json").document
    assert (1, 0) == (document["unexplained"], document["extra"])


def test_a_replay_decides_everything_again(lived: Simulated, tmp_path: Path) -> None:
    """As many decisions as doses, none otherwise; a changed one is told twice."""
    events = lived.book.events()
    state = write_ledger(tmp_path / "state", events)
    told = ask(state, *span(lived), "--replay", "--json")
    judge().validate(told.document)
    replay = told.document["replay"]
    assert isinstance(replay, dict)
    assert (0, []) == (told.code, replay["differences"])
    assert 42 == replay["decisions"]
    assert "42 live decisions by version" in ask(state, *span(lived), "--replay").out
    state = write_ledger(tmp_path / "other", altered(events))
    told = ask(state, *span(lived), "--replay", "--json")
    judge().validate(told.document)
    assert 1 == told.code
    wheres = [error["where"] for error in told.errors]
    (twice,) = {where for where in wheres if wheres.count(where) > 1}
    assert twice.startswith(("reef/", "lagoon/"))


def test_an_empty_ledger_is_asked_for_nothing(tmp_path: Path) -> None:
    """Without an approval nothing is missing and nothing is wrong."""
    stage = stage_of(tmp_path)
    told = stage.run("audit", "--json")
    assert (0, [], []) == (
        told.code,
        told.document["approvals"],
        told.document["days"],
    )
    judge().validate(told.document)


def test_a_plan_without_a_daemon_is_missing_for_that(tmp_path: Path) -> None:
    """Approved and never run: every dose has its reason, which is no fault."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    told = stage.run("audit", "--json")
    assert 0 == told.code


def test_a_missing_ledger_is_an_error(tmp_path: Path) -> None:
    """One clear error and exit code 2."""
    told = ask(tmp_path, "--json")
    assert (2, 1) == (told.code, len(told.errors))


@pytest.mark.parametrize(
    "words",
    [
        ("--day", "yesterday"),
        ("--day", "2026-05-03", "--from", "2026-05-02"),
        ("--from", "2026-05-03", "--until", "2026-05-03"),
        ("--from", "2026-13-03"),
        ("--until", "2126-05-03"),
        ("--day", "2126-05-03"),
    ],
)
def test_times_that_are_none_are_refused(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Each in words that say what was expected; nothing is compared."""
    stage = stage_of(tmp_path)
    told = stage.run("audit", *words, "--json")
    assert (2, 1) == (told.code, len(told.errors))
    assert set() == {key for key, text in told.errors[0].items() if not text}


def test_a_kept_audit_is_an_entry(tmp_path: Path) -> None:
    """Its figures stand in the ledger; the next one begins where doses may be open."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    before = len(stage.events())
    assert 0 == stage.run("audit").code
    assert before == len(stage.events())
    for _ in range(2):
        assert 0 == stage.run("audit", "--keep").code
    first, second = (one for one in stage.events() if isinstance(one, Audited))
    assert (0, 3) == (first.faults, (first.until - first.since).days)
    assert second.since == first.until - timedelta(days=3)
    assert second == stage.folded().audited


def test_the_verb_prints_its_schema(tmp_path: Path) -> None:
    """As JSON, and it is the one documents are judged by."""
    assert schema() == json.loads(ask(tmp_path, "--schema").out)


def test_status_shows_the_newest_kept_audit(tmp_path: Path) -> None:
    """On the screen and in the document; before there is one, neither."""
    stage = stage_of(tmp_path)
    assert None is stage.run("status", "--json").document["audit"]
    assert "Audit" not in stage.run("status").out
    stage.append(found_before(stage.stamp()))
    shown = stage.run("status", "--json").document["audit"]
    assert isinstance(shown, dict)
    assert (24, 22, 2, 1) == tuple(
        shown[name] for name in ("doses", "given", "missing", "faults")
    )
    text = " ".join(stage.run("status").out.split())
    assert "22 of 24 doses, 2 missing for a reason, 1 fault" in text


def test_a_shadow_run_that_departs_keeps_pumps_from_being_enabled(
    tmp_path: Path,
) -> None:
    """A dose that nobody approved was imagined: it is among what is missing."""
    stage = stage_of(tmp_path)
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    stage.shadow()
    made = stage.events()[0]
    assert isinstance(made, LedgerMade)
    stamp = stage.stamp()
    dose = DueDose(
        id="reef/lye@2026-05-03#01",
        line="lye",
        tank="reef",
        pump="lye",
        local_day=stamp["at"].date(),
        ordinal=1,
        due_at=stamp["at"],
        latest_at=stamp["at"] + timedelta(hours=1),
        volume_ul=1000,
    )
    with LedgerFile.create(
        stage.state / SHADOW_NAME, replace(made, ledger_id="aside"), "shadow"
    ) as aside:
        aside.append([replace(intended(), **stamp, dose=dose)])
    told = stage.run("enable", "--json")
    (error,) = (one for one in told.errors if one["where"] == "audit")
    assert (1, True) == (told.code, dose.id in error["what"])
    assert "shadow" == stage.folded().stage


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--now",), "Approval  1 in force, no dose was due"),
        (("--at",), "Approval  1 has still to take over"),
        (None, "Approval  none in force"),
    ],
)
def test_an_approval_without_a_dose_is_told_for_what_it_is(
    tmp_path: Path, words: tuple[str, ...] | None, told: str
) -> None:
    """Just approved: doses near a take-over at once are left out."""
    stage = stage_of(tmp_path)
    if words == ("--at",):
        later = stage.stamp()["at"] + timedelta(days=2)
        words = ("--at", later.isoformat(timespec="seconds"))
    if words is not None:
        assert 0 == stage.approve(*words).code
    assert told in stage.run("audit").out
