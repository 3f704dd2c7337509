"""Asking for one dose by hand: what is refused before anybody carries it out (H55)."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.cli.by_request import refuse_bounce, refuse_unfit
from slackwater.errors import RefusedError
from slackwater.facts.events import ShotRequested
from slackwater.facts.state import State
from slackwater.outside.settings import read_machine
from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, beside_a_daemon, stage_of

NOON = datetime(2026, 5, 3, 12, tzinfo=UTC)
WORDS = ("--reason", "a test was low", "--by", "keeper", "--json")


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """The smallest sample, live, beside a daemon; 5 mL may be given by hand."""
    with beside_a_daemon(tmp_path) as made:
        yield made


def requests(stage: Stage) -> list[ShotRequested]:
    """What was asked for."""
    return [one for one in stage.events() if isinstance(one, ShotRequested)]


def test_h55_a_dose_by_hand_is_an_entry_with_its_reason_and_its_end(
    stage: Stage,
) -> None:
    """Half an hour, the pump, the amount, who and why."""
    told = stage.run("dose", "carbonate", "2 mL", *WORDS)
    assert 0 == told.code, told.out
    (asked,) = requests(stage)
    assert ("carbonate", 2000, "manual", "a test was low", "keeper") == (
        asked.pump,
        asked.volume_ul,
        asked.purpose,
        asked.why,
        asked.by,
    )
    assert 1800 == (asked.until - asked.at).total_seconds()
    assert asked.request == told.document["request"]


def test_h55_the_same_wish_within_ten_seconds_is_a_bounced_key(stage: Stage) -> None:
    """Refused, whatever its reason says; another amount, or one later, is a wish."""
    assert 0 == stage.run("dose", "carbonate", "2 mL", *WORDS).code
    again = stage.run("dose", "carbonate", "2000 uL", "--reason", "again", "--json")
    # On a slow machine more than ten seconds may lie between the two.
    first = requests(stage)[0]
    passed_ms = stage.stamp()["proven_ms"] - first.proven_ms
    assert 1 == again.code or passed_ms >= 10_000
    assert 0 == stage.run("dose", "carbonate", "1 mL", *WORDS).code


def wish(proven_ms: int, volume_ul: int, verb: str) -> ShotRequested:
    """What is asked for at such a time: a dose, or one of what fills a hose."""
    out = verb.endswith("out")
    return ShotRequested(
        at=NOON,
        boot_s=1.0,
        proven_ms=proven_ms,
        request=f"hand-{proven_ms}",
        pump="carbonate",
        volume_ul=volume_ul,
        until=NOON,
        by="keeper",
        purpose="prime" if out else "manual",
        why={
            "dose": "a test was low",
            "again": "a second test was low",
            "prime": "prime, outlet in the water",
            "prime out": "prime, outlet out of the water",
            "flush out": "flush, outlet out of the water",
        }[verb],
    )


@pytest.mark.parametrize(
    ("passed_ms", "volume_ul", "verbs", "is_refused"),
    [
        (9_999, 2000, ("dose", "again"), True),
        (10_000, 2000, ("dose", "again"), False),
        (9_999, 2001, ("dose", "again"), False),
        (9_999, 2000, ("prime out", "prime out"), True),
        (0, 2000, ("prime out", "flush out"), False),
        (0, 2000, ("prime out", "prime"), False),
        (0, 2000, ("prime", "dose"), False),
    ],
)
def test_h55_ten_seconds_are_proven_time(
    passed_ms: int, volume_ul: int, verbs: tuple[str, str], *, is_refused: bool
) -> None:
    """To the millisecond of proven time; to rinse a hose is not to fill it again."""
    before = wish(50_000, 2000, verbs[0])
    state = State(by_hand={"carbonate": before})
    asked = wish(50_000 + passed_ms, volume_ul, verbs[1])
    if is_refused:
        with pytest.raises(RefusedError, match="hand-50000"):
            refuse_bounce(state, asked)
    else:
        refuse_bounce(state, asked)


@pytest.mark.parametrize(
    ("passed_ms", "at", "is_refused"),
    [
        (1_799_000, NOON, True),
        (1_799_000, NOON + timedelta(seconds=1), False),
    ],
)
def test_h55_the_same_wish_is_no_second_one_while_the_first_waits(
    passed_ms: int, at: datetime, *, is_refused: bool
) -> None:
    """Both would be given in the end; one that came to its end waits no more."""
    before = wish(50_000, 2000, "dose")
    state = State(by_hand={"carbonate": before}, requests={before.request: before})
    asked = replace(wish(50_000 + passed_ms, 2000, "again"), at=at)
    if is_refused:
        with pytest.raises(RefusedError, match="still waits"):
            refuse_bounce(state, asked)
    else:
        refuse_bounce(state, asked)


def test_h55_a_dose_that_waits_for_a_hold_says_for_which(stage: Stage) -> None:
    """Its keeper would else look at the hose for half an hour."""
    assert 0 == stage.run("hold", "--scope", "pump/carbonate").code
    (hold,) = stage.folded().holds
    told = stage.run("dose", "carbonate", "2 mL", *WORDS)
    assert [hold] == told.document["held_by"]
    read = stage.run("dose", "carbonate", "1 mL", *WORDS[:-1])
    assert f"It waits for the end of {hold}: " in read.out
    free = stage.run("dose", "calcium", "1 mL", *WORDS[:-1])
    assert "`slackwater hold --scope pump/calcium` once it runs" in free.out


@pytest.mark.parametrize(
    ("words", "code", "what"),
    [
        (("carbonate", "5001 uL"), 1, "5.001 mL is more than the pump may give"),
        (("carbonate", "0 mL"), 2, '"0 mL" is nothing to pump'),
        (("carbonate", "2"), 2, '"2" has no unit'),
        (("carbonate", "2,0 mL"), 2, '"2,0 mL" does not begin with a plain number'),
        (("magnesium", "2 mL"), 2, 'there is no pump "magnesium"'),
    ],
)
def test_h55_what_cannot_be_given_is_refused_at_once(
    stage: Stage, words: tuple[str, str], code: int, what: str
) -> None:
    """Nothing is written down, and one error says which figure it was."""
    told = stage.run("dose", *words, *WORDS)
    assert (code, [what]) == (told.code, [one["what"] for one in told.errors])
    assert [] == requests(stage)


@pytest.mark.parametrize(
    ("measured_ul", "words", "least"),
    [
        (0, ("dose", "carbonate", "0.01 mL"), "500 µL"),
        (900, ("dose", "carbonate", "0.899 mL"), "900 µL"),
        (900, ("prime", "carbonate", "0.899 mL"), "900 µL"),
    ],
)
def test_h55_less_than_is_reliable_is_refused_at_once(
    stage: Stage, measured_ul: int, words: tuple[str, ...], least: str
) -> None:
    """Stated or measured, whichever is more: it would be missed minutes later."""
    known = stage.folded().calibrations["carbonate"]
    stage.append(replace(known, **stage.stamp(), smallest_ul=measured_ul))
    more = WORDS if words[0] == "dose" else WORDS[2:]
    told = stage.run(*words, *more)
    assert 1 == told.code
    assert "is less than carbonate gives reliably" in told.errors[0]["what"]
    assert f"at least {least}" == told.errors[0]["expected"]
    assert [] == requests(stage)


def test_h55_as_much_as_is_reliable_is_taken(stage: Stage) -> None:
    """The smallest dose itself; out of the water less does as well."""
    assert 0 == stage.run("dose", "carbonate", "0.5 mL", *WORDS).code
    out = stage.run("prime", "carbonate", "0.1 mL", "--outlet-out", *WORDS[2:])
    assert 0 == out.code


def test_h55_nobody_asks_without_a_reason(stage: Stage) -> None:
    """An empty reason is none."""
    told = stage.run("dose", "carbonate", "2 mL", "--reason", " ", "--json")
    assert (2, "no reason was given") == (told.code, told.errors[0]["what"])


def test_h55_in_shadow_nothing_is_asked_for(tmp_path: Path) -> None:
    """The daemon of a shadow run commands no pump."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    told = stage.run("dose", "carbonate", "2 mL", *WORDS)
    assert 1 == told.code
    assert told.errors[0]["what"].startswith("pumps are not enabled")
    other = stage.run("dose", "soda", "2 mL", *WORDS)
    assert (2, 'there is no pump "soda"') == (other.code, other.errors[0]["what"])
    assert "carbonate" in other.errors[0]["expected"]


@pytest.mark.parametrize("name", ["prime", "flush"])
@pytest.mark.parametrize(
    ("words", "purpose"), [(("--outlet-out",), "prime"), ((), "manual")]
)
def test_h56_priming_counts_as_given_unless_the_outlet_is_out(
    stage: Stage, name: str, words: tuple[str, ...], purpose: str
) -> None:
    """Nobody has to say that liquid reaches the tank; that it does not is declared."""
    told = stage.run(name, "carbonate", "3 mL", *words, "--by", "keeper", "--json")
    assert 0 == told.code, told.out
    (asked,) = requests(stage)
    assert (purpose, 3000, purpose == "manual") == (
        asked.purpose,
        asked.volume_ul,
        told.document["in_water"],
    )
    assert (True, name == "flush") == (asked.why.startswith(name), asked.rinses)


@pytest.mark.parametrize(
    ("volume", "words", "cap"),
    [
        ("20001 uL", ("--outlet-out",), "most_per_priming"),
        ("5001 uL", (), "most_by_hand"),
    ],
)
def test_h56_priming_has_small_caps_of_its_own(
    stage: Stage, volume: str, words: tuple[str, ...], cap: str
) -> None:
    """Beyond them nothing is written down, and the error names the ceiling."""
    told = stage.run("prime", "carbonate", volume, *words, "--json")
    assert 1 == told.code
    assert told.errors[0]["where"].endswith(cap)
    assert [] == requests(stage)


@pytest.mark.parametrize(
    ("pump", "volume_ul", "where"),
    [
        ("calcium", 2_999, "[relay.timer] one_length"),
        ("calcium", 3_000, ""),
        ("carbonate", 5_000, ""),
        ("carbonate", 5_001, "[node.plug] longest_run"),
    ],
)
def test_what_a_relay_never_runs_is_refused_at_once(
    pump: str, volume_ul: int, where: str
) -> None:
    """30 mL/min: one pulse of 6 s is 3 mL, no less; 10 s are 5 mL, no more."""
    machine = read_machine(CONFIG / "relays")
    found = ""
    try:
        refuse_unfit(State(), machine, machine.pumps[pump], volume_ul)
    except RefusedError as refusal:
        found = refusal.findings[0].where
    assert where == found.removeprefix("slackwater.toml ")
