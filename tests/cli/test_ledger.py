"""`ledger`: the record, listed, exported and verified."""

import csv
import io
import json
import sqlite3
from pathlib import Path

import pytest

from slackwater.service.memory import LIVE_NAME
from tests.cli.stage import Stage, stage_of


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
        ("--limit", "0"),
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


def test_no_shadow_ledger_is_told(stage: Stage) -> None:
    """Before a shadow run there are no imagined doses."""
    assert 2 == stage.run("ledger", "--shadow").code


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
