"""`check-relay`: each thing tried by itself, an end to it, marks where one looks."""

from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.commands.relaying import TRIALS
from slackwater.cli.opening import opened
from slackwater.cli.relay_text import REDUCED, relay_documents, relay_lines
from slackwater.facts.relays import RelayChecked
from slackwater.outside.settings import read_machine
from tests.cli.run_program import CONFIG, run
from tests.cli.stage import Stage, stage_of

RELAYS = CONFIG / "relays"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The sample with relays, and a new ledger."""
    return stage_of(tmp_path, RELAYS)


def checks(stage: Stage) -> dict[str, RelayChecked]:
    """What the ledger knows of relays."""
    with opened(stage.state) as found:
        return dict(found.state.relay_checks)


def test_all_tried_is_written_with_its_end(stage: Stage) -> None:
    """Ninety days from now, for the relay as the file describes it."""
    told = stage.run("check-relay", "plug", "--all-tried", "--by", "keeper")
    assert 0 == told.code
    known = checks(stage)["plug"]
    relay = read_machine(RELAYS).nodes["plug"].relay
    assert relay is not None
    assert (relay.digest, "keeper") == (known.relay, known.by)
    assert timedelta(days=90) == known.until - known.at


def test_each_thing_is_asked_for(stage: Stage) -> None:
    """As many yeses as there are things to try, below the messages to try with."""
    told = stage.run("check-relay", "plug", typed="y\n" * len(TRIALS))
    assert 0 == told.code
    said = " ".join(told.err.split())
    assert 'a pulse of 10 s workshop/relay-3/do {"on":true,"ms":10000}' in said
    assert 'off workshop/relay-3/do {"on":false}' in said
    assert "its state on workshop/relay-3/is" in said
    assert ["plug"] == list(checks(stage))


@pytest.mark.parametrize("wrong", range(len(TRIALS)))
def test_one_no_writes_nothing(stage: Stage, wrong: int) -> None:
    """Whichever it is."""
    told = stage.run("check-relay", "plug", typed="y\n" * wrong + "n\n")
    assert 1 == told.code
    assert {} == checks(stage)


@pytest.mark.parametrize(
    "words", [("shelf", "--all-tried"), ("plug", "--all-tried", "--days", "181")]
)
def test_wrong_words_write_nothing(stage: Stage, words: tuple[str, ...]) -> None:
    """No such relay, or a check that would outlast its use."""
    assert 2 == stage.run("check-relay", *words).code
    assert {} == checks(stage)


def test_a_pump_behind_a_relay_is_marked_where_one_looks(stage: Stage) -> None:
    """In `check`, and in a line of `status` that says until when it was tried out."""
    assert REDUCED in stage.run("check").out
    stage.run("check-relay", "plug", "--all-tried")
    with opened(stage.state) as found:
        lines = list(relay_lines(read_machine(RELAYS), found.state))
        shown = relay_documents(read_machine(RELAYS), found.state)
    assert 2 == len(lines)
    assert all(REDUCED in line for line in lines)
    assert "not tried out: slackwater check-relay timer" in lines[0]
    assert "good until" in lines[1]
    assert ["reduced", "reduced"] == [one["assurance"] for one in shown]
    assert [True, False] == [one["checked_until"] is None for one in shown]


def test_more_than_twenty_four_pulses_are_refused(tmp_path: Path) -> None:
    """A plan of 25 doses a day behind a relay is no plan for one."""
    folder = tmp_path / "many"
    folder.mkdir()
    for file in RELAYS.glob("*.toml"):
        text = file.read_text("utf-8").replace(
            'smallest_dose = "0.5 mL"', 'smallest_dose = "0.1 mL"'
        )
        first, second = (
            text.split('id = "calcium"') if file.stem == "plan" else (text, "")
        )
        first = first.replace("doses = 12", "doses = 25")
        text = first + 'id = "calcium"' + second if second else first
        (folder / file.name).write_text(text, "utf-8")
    told = run("--config", folder, "check")
    assert 1 == told.code
    assert "25 doses a day of carbonate" in told.out + told.err


def test_status_and_why_mark_an_approved_pump(stage: Stage) -> None:
    """An approval of the sample, and both verbs say on what the pump hangs."""
    assert 0 == stage.approve("--now").code
    assert f"carbonate on plug: {REDUCED}" in stage.run("status").out
    assert f"behind a timed relay: {REDUCED}" in stage.run("why", "carbonate").out
    relays = stage.run("status", "--json").document["relays"]
    assert isinstance(relays, list)
    assert ["calcium", "carbonate"] == [one["pump"] for one in relays]


def test_a_check_that_ends_soon_is_a_task(stage: Stage) -> None:
    """From a fortnight before its end on; trying the relay out again ends it."""
    assert 0 == stage.run("check-relay", "timer", "--all-tried").code
    assert 0 == stage.run("check-relay", "plug", "--all-tried", "--days", "9").code
    approved(stage)
    told = stage.run("tasks").out
    assert "slackwater check-relay plug" in told
    assert "in 9 days" in told
    assert "check-relay timer" not in told
    assert 0 == stage.run("check-relay", "plug", "--all-tried").code
    assert "check-relay" not in stage.run("tasks").out


def test_a_check_that_ends_in_an_absence_speaks_against_going(stage: Stage) -> None:
    """Nobody is there to try it out, and nothing is dosed from then on."""
    assert 0 == stage.run("check-relay", "timer", "--all-tried").code
    assert 0 == stage.run("check-relay", "plug", "--all-tried", "--days", "9").code
    approved(stage)
    until = (stage.stamp()["at"] + timedelta(days=10)).date().isoformat()
    told = stage.run("away", "--until", until, "--json").document["checks"]
    assert isinstance(told, list)
    assert [("plug", False), ("timer", True)] == [
        (str(one["found"]).split()[0], one["met"])
        for one in told
        if one["check"] == "relay"
    ]
    page = " ".join(stage.run("away", "--until", until).out.split())
    assert "slackwater check-relay plug" in page


def approved(stage: Stage) -> None:
    """Its pumps are measured and its plan is approved."""
    stage.commission("carbonate", "calcium")
    told = stage.approve("--now")
    assert 0 == told.code, told.out
