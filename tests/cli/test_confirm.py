"""`confirm`: what was entered from afar becomes a test, or is refused."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.entered import EntrySettled
from slackwater.facts.waters import MeasurementKept
from tests.cli.stage import Stage, stage_of
from tests.facts.safeguards import entered

DKH = 0.35665246


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger, and one entry two hours old."""
    made = stage_of(tmp_path)
    stamp = made.stamp()
    stamp["at"] -= timedelta(hours=2)
    made.append(entered(stamp, "u-1", 8.3 * DKH))
    return made


def settled(stage: Stage) -> list[EntrySettled]:
    """Everything that was settled."""
    return [one for one in stage.events() if isinstance(one, EntrySettled)]


def kept(stage: Stage) -> list[MeasurementKept]:
    """Every test in the ledger."""
    return [one for one in stage.events() if isinstance(one, MeasurementKept)]


def test_what_waits_is_listed_with_its_age(stage: Stage) -> None:
    """And a status says so; the page fits 80 columns."""
    listed = stage.run("confirm")
    assert 0 == listed.code
    assert all(word in listed.out for word in ("u-1", "8.3", "2 h", "not confirmed"))
    assert max(map(len, listed.out.splitlines())) < 80
    assert "`slackwater confirm`" in stage.run("status").out
    waiting = stage.run("status", "--json").document["unconfirmed"]
    assert isinstance(waiting, list)
    assert ["u-1"] == [one["id"] for one in waiting]


def test_a_person_makes_a_test_of_it_and_is_named(stage: Stage) -> None:
    """Dated when it arrived: confirming makes nothing fresher than it is."""
    (told,) = stage.folded().entered.values()
    done = stage.run("confirm", "u-1", "--by", "keeper", "--method", "drops")
    assert 0 == done.code, done.err
    (test,) = kept(stage)
    assert (told.told.taken_at, told.told.value) == (test.taken_at, test.value)
    assert ("keeper", "drops", "hand") == (test.by, test.method, test.provenance)
    (end,) = settled(stage)
    assert ("u-1", "confirmed", "keeper", test.id) == (
        end.entry,
        end.how,
        end.by,
        end.measurement,
    )
    assert {} == stage.folded().entered
    assert test == stage.folded().levels["reef/alkalinity"]
    assert "Nothing entered" in stage.run("confirm").out


def test_confirming_twice_writes_one_test(stage: Stage) -> None:
    """The second time nothing waits under that name any more."""
    assert 0 == stage.run("confirm", "u-1", "--by", "keeper").code
    again = stage.run("confirm", "u-1", "--by", "keeper")
    assert 2 == again.code
    assert "none waits" in again.err
    assert 1 == len(kept(stage))


def test_refusing_writes_no_test_and_says_why(stage: Stage) -> None:
    """The entry stays in the record, with who refused it."""
    done = stage.run("confirm", "u-1", "--refuse", "--why", "a slip", "--by", "keeper")
    assert 0 == done.code
    assert [] == kept(stage)
    (end,) = settled(stage)
    assert ("refused", "a slip", "keeper") == (end.how, end.why, end.by)
    assert {} == stage.folded().entered


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("u-2",), "confirm"),
        (("u-1", "--refuse"), "--refuse"),
        (("--refuse", "--why", "x"), "confirm"),
        (("u-1", "--why", "x"), "confirm"),
        (("--confirm",), "confirm"),
        (("u-1", "--tank", "reef"), "confirm"),
        (("u-1", "--by", "x" * 41), "--by"),
        (("u-1", "--lot", "\x07"), "--lot"),
    ],
)
def test_what_is_not_clear_writes_nothing(
    stage: Stage, words: tuple[str, ...], place: str
) -> None:
    """One clear error, exit code 2, the entry waits as it did."""
    done = stage.run("confirm", *words, "--json")
    assert 2 == done.code
    errors = json.loads(done.out)["errors"]
    assert place in {one["where"] for one in errors}
    assert {"u-1"} == set(stage.folded().entered)


def test_one_far_from_its_neighbour_is_asked_about(stage: Stage) -> None:
    """As any test is; with --confirm it is taken."""
    assert 0 == stage.run("record", "alkalinity=6.0 dKH", "--by", "keeper").code
    stage.append(entered(stage.stamp(), "u-2", 11.0 * DKH))
    assert 2 == stage.run("confirm", "u-2", "--by", "keeper").code
    assert 1 == len(kept(stage))
    assert 0 == stage.run("confirm", "u-2", "--confirm", "--by", "keeper").code
    assert kept(stage)[-1].confirmed


def test_a_tank_of_which_nobody_knows_is_refused(stage: Stage) -> None:
    """That nothing waits must not be said of a slip of the hand."""
    told = stage.run("confirm", "--tank", "refe", "--json")
    assert (2, 'no tank is "refe"') == (told.code, told.errors[0]["what"])
    assert "u-1" in stage.run("confirm", "--tank", "reef").out
