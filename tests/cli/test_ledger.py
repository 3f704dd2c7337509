"""`ledger`: the record, listed, exported and verified."""

import csv
import io
import json
import sqlite3
from datetime import date, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import DoseMissed, ReadingKept
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.service.memory import LIVE_NAME
from tests.cli.stage import Stage, stage_of
from tests.ledger.audit_samples import audited, inputs


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger of five entries: made, approved, held, released, withdrawn."""
    made = stage_of(tmp_path)
    made.approve("--now")
    name = made.run("hold", "--scope", "pump/calcium", "--json").document["hold"]
    made.run("release", name)
    made.run("withdraw", "1")
    return made


KINDS = ["ledger_made", "plan_approved", "hold_raised", "hold_released"]
KINDS += ["plan_withdrawn"]


def kinds(document: dict[str, object]) -> list[str]:
    """The kinds of the entries of a document."""
    rows = document["entries"]
    assert isinstance(rows, list)
    return [row["kind"] for row in rows]


def test_lists_every_entry_in_order(stage: Stage) -> None:
    """As a document, and each kind once on the page."""
    assert KINDS == kinds(stage.run("ledger", "--json").document)
    text = stage.run("ledger").out
    assert sorted(KINDS, key=text.index) == KINDS


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--kind", "hold_raised"), ["hold_raised"]),
        (("--kind", "hold_raised", "--kind", "ledger_made"), [KINDS[0], KINDS[2]]),
        (("--limit", "2"), KINDS[-2:]),
        (("--since", "2126-01-01"), []),
        (("--until", "2026-01-01T00:00+01:00"), []),
        (("--pump", "carbonate"), []),
    ],
)
def test_narrows(stage: Stage, words: tuple[str, ...], expected: list[str]) -> None:
    """By kind, number, time and pump."""
    assert expected == kinds(stage.run("ledger", "--json", *words).document)


def test_what_decisions_rest_on_stands_on_no_page(stage: Stage) -> None:
    """It is in the document, and on the page for whoever asks for its kind."""
    stage.append(inputs(stage.stamp()))
    assert "inputs_kept" not in stage.run("ledger").out
    assert [*KINDS, "inputs_kept"] == kinds(stage.run("ledger", "--json").document)
    assert "inputs_kept" in stage.run("ledger", "--kind", "inputs_kept").out


def test_an_audit_tells_its_figures(stage: Stage) -> None:
    """Given of approved, and faults, on one line."""
    stage.append(audited(stage.stamp()))
    assert "22 of 24 doses given, 1 fault" in stage.run("ledger").out


def test_csv_holds_what_the_document_holds(stage: Stage) -> None:
    """Each row's body is the entry; lines end as RFC 4180 says."""
    text = stage.run("ledger", "--csv").out
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    document = stage.run("ledger", "--json").document
    assert document["entries"] == [
        {"seq": int(row["seq"]), **json.loads(row["body"])} for row in rows
    ]


@pytest.mark.parametrize("rows", ["doses", "days"])
def test_rows_of_doses_and_days(stage: Stage, rows: str) -> None:
    """Nothing was dosed, and that is no error."""
    assert [] == stage.run("ledger", "--rows", rows, "--json").document[rows]
    assert 0 == stage.run("ledger", "--rows", rows, "--csv").code


def test_an_unbroken_chain_is_verified(stage: Stage) -> None:
    """Exit code 0 with the number of entries."""
    told = stage.run("ledger", "verify", "--json")
    assert (0, 5) == (told.code, told.document["entries"])


def test_a_changed_byte_is_found(stage: Stage) -> None:
    """Exit code 1 naming the entry, whoever changed it behind our back."""
    connection = sqlite3.connect(stage.state / LIVE_NAME)
    (text,) = connection.execute("SELECT body FROM entries WHERE seq = 3").fetchone()
    triggers = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall()
    for (name,) in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute(
        "UPDATE entries SET body = ? WHERE seq = 3", (text.replace("calcium", "x"),)
    )
    connection.commit()
    connection.close()
    told = stage.run("ledger", "verify", "--json")
    assert (1, False) == (told.code, told.document["ok"])
    assert told.errors


@pytest.mark.parametrize(
    "words",
    [
        ("--since", "yesterday"),
        ("--since", "0001-01-01T00:00+14:00"),
        ("--until", "9999-12-31T23:59-14:00"),
        ("--limit", "0"),
        ("--limit", "99999999999999999999999"),
        ("--kind", "hold_raised", "--rows", "doses"),
        ("verify", "--csv"),
        ("verify", "--since", "2026-05-03"),
        ("--kind", "other"),
        ("--csv", "--json"),
        ("repair",),
        ("--rows", "weeks"),
    ],
)
def test_bad_questions_are_one_clear_error(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """Exit code 2."""
    told = stage.run("ledger", *words)
    assert 2 == told.code
    assert 1 == told.out.count('"what"') + told.err.count("error: ")
    assert "unexpected" not in told.err


def test_no_shadow_ledger_is_told(stage: Stage) -> None:
    """Before a shadow run there are no imagined doses."""
    done = stage.run("ledger", "--shadow")
    assert 2 == done.code
    assert "no ledger of a shadow run" in done.err
    assert "slackwater init" not in done.err


def test_what_people_wrote_about_the_water_is_listed(stage: Stage) -> None:
    """By kind, with what was typed and the id to refer to it."""
    stage.run("record", "alkalinity=8.1 dKH", "--by", "keeper")
    stage.run("event", "harvest", "--note", "two colonies")
    page = " ".join(stage.run("ledger", "--kind", "measurement_kept").out.split())
    both = ("--kind", "measurement_kept", "--kind", "husbandry_noted")
    document = stage.run("ledger", "--json", *both).document

    assert all(word in page for word in ("alkalinity", "typed 8.1 dKH", "by keeper"))
    assert "what harvest" in " ".join(stage.run("ledger", *both).out.split())
    assert ["measurement_kept", "husbandry_noted"] == kinds(document)


def missed(stage: Stage, day: int, number: int) -> DoseMissed:
    """A dose of carbonate that was not given."""
    at = stage.stamp()["at"]
    dose = DueDose(
        id=f"reef/carbonate@2026-05-{day:02d}#{number:02d}",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=date(2026, 5, day),
        ordinal=number,
        due_at=at,
        latest_at=at + timedelta(minutes=15),
        volume_ul=1000,
    )
    reasons = (because(Code.LINK_DOWN), because(Code.WINDOW_PASSED))
    return DoseMissed(**stage.stamp(), dose=dose, reasons=reasons)


def test_a_day_is_the_sum_of_all_its_doses(stage: Stage) -> None:
    """A page holds the newest days, and never a part of one."""
    stage.append(*(missed(stage, day, n) for day in (3, 4) for n in range(1, 31)))
    both = stage.run("ledger", "--rows", "days").out
    assert 2 == both.count(" 30 ")
    words = ("--rows", "days", "--limit", "1", "--json")
    days = stage.run("ledger", *words).document["days"]
    assert isinstance(days, list)
    (newest,) = days
    assert ("2026-05-04", 30) == (newest["local_day"], newest["missed"])


def test_a_page_says_that_it_holds_the_newest_alone(stage: Stage) -> None:
    """More than forty rows; with a limit of its own everything is there."""
    hint = "Older ones are left out: --limit N shows more."
    assert hint not in stage.run("ledger").out
    stage.append(*(missed(stage, 3, n) for n in range(1, 42)))
    for rows in ("entries", "doses"):
        assert hint in stage.run("ledger", "--rows", rows).out
        assert hint not in stage.run("ledger", "--rows", rows, "--limit", "90").out


def test_what_nothing_matches_is_said(stage: Stage) -> None:
    """Instead of heads above nothing."""
    told = stage.run("ledger", "--pump", "nobody")
    assert (0, "Nothing that was asked for is on record.\n") == (told.code, told.out)


def test_a_row_of_a_dose_fits_the_screen(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The identity stays whole, so that it can be copied; reasons are folded."""
    monkeypatch.setenv("COLUMNS", "80")
    stage.append(missed(stage, 3, 1))
    lines = stage.run("ledger", "--rows", "doses").out.splitlines()
    assert max(map(len, lines)) <= 80
    assert any(
        line.startswith("reef/carbonate@2026-05-03#01  missed") for line in lines
    )
    assert any("link-down" in line for line in lines)


def test_entries_say_what_they_are_about(stage: Stage) -> None:
    """An approval its serial, a hold its reason, a reading its level."""
    stage.append(
        ReadingKept(
            **stage.stamp(),
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=8 * 20 / 56.077,
            taken_at=stage.stamp()["at"],
        )
    )
    text = " ".join(stage.run("ledger").out.split())
    assert "plan_approved serial 1, digest " in text
    assert "A person asked for a hold." in text
    assert "parameter alkalinity, probe kh, 8.00 dKH" in text


def test_what_was_filled_read_and_asked_for_is_told_by_name(stage: Stage) -> None:
    """Bottle, lot and volume stand on the page, not only in the document."""
    stage.run("refill", "carbonate", "--content", "1.9 L", "--lot", "may-2")
    stage.run("level", "carbonate", "1.85 L")
    page = stage.run("ledger", "--limit", "2").out
    filled, read = [line for line in page.splitlines() if " by " in line]
    assert "reservoir carbonate, lot may-2" in filled
    assert ("1.9 L" in filled, "1.85 L" in read) == (True, True)
    assert "reservoir carbonate" in read
