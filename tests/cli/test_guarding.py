"""`bypass`, `out-of-service`, `in-service`, `refill`, and how a status shows them."""

from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.safeguards import (
    BypassEnded,
    BypassGranted,
    ProbePutBack,
    ProbeTakenOut,
    ReservoirFilled,
)
from slackwater.facts.waters import HusbandryNoted
from slackwater.gate.bypass import BYPASSABLE
from tests.cli.run_program import SMALLEST, Outcome, changed
from tests.cli.stage import Stage, stage_of

CHEMISTRY = Path(__file__).resolve().parents[2] / "config" / "chemistry"
GRANT = ("--scope", "tank/reef", "--reason", "probe in cleaning", "--for", "2h")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The sample with four solutions and an alkalinity probe, and a fresh ledger."""
    return stage_of(tmp_path, CHEMISTRY)


def test_h59_a_bypass_names_scope_reason_and_end(stage: Stage) -> None:
    """The entry holds all of it; two hours are two hours."""
    told = stage.run("bypass", "alkalinity-ceiling", *GRANT, "--json")
    assert 0 == told.code
    (granted,) = [e for e in stage.events() if isinstance(e, BypassGranted)]
    assert ("alkalinity-ceiling", "tank/reef", "probe in cleaning") == (
        granted.interlock,
        granted.scope,
        granted.why,
    )
    assert timedelta(hours=2) == granted.until - granted.at
    assert {"alkalinity-ceiling"} == set(stage.folded().bypasses)


@pytest.mark.parametrize("span", ["4h", "4 h", "240 min", "1 min"])
def test_h59_a_bypass_may_last_four_hours(stage: Stage, span: str) -> None:
    """To the minute, in any unit of time."""
    words = (*GRANT[:4], "--for", span)
    assert 0 == stage.run("bypass", "leak", *words).code


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("leak", *GRANT[:4], "--for", "241 min"), "--for"),
        (("leak", *GRANT[:4], "--for", "2"), "--for"),
        (("leak", *GRANT[:4]), "--for"),
        (("leak", *GRANT[2:]), "--scope"),
        (("leak", *GRANT[:2], *GRANT[4:]), "--reason"),
        (("leak", "--scope", "tank/no", *GRANT[2:]), "--scope"),
        (("leak", "--scope", "water/reef", *GRANT[2:]), "--scope"),
        (("cap-per-day", *GRANT), "INTERLOCK"),
        (("node", *GRANT), "INTERLOCK"),
        (("clock-jumped", *GRANT), "INTERLOCK"),
        (("manual-hold", *GRANT), "INTERLOCK"),
        (("leak", *GRANT[:2], "--reason", "x" * 300, *GRANT[4:]), "--reason"),
    ],
)
def test_h59_a_bypass_that_says_too_little_or_too_much_is_refused(
    stage: Stage, words: tuple[str, ...], place: str
) -> None:
    """Nothing is written, and the place of the slip is named."""
    told = stage.run("bypass", *words, "--json")
    assert 2 == told.code
    assert place in {error["where"].split(":")[0] for error in told.errors}
    assert [] == [e for e in stage.events() if isinstance(e, BypassGranted)]


def test_h59_a_bypass_is_ended_sooner_by_a_word(stage: Stage) -> None:
    """A second end changes nothing."""
    stage.run("bypass", "leak", *GRANT)
    first = stage.run("bypass", "leak", "--end", "--json")
    again = stage.run("bypass", "leak", "--end", "--json")
    assert (True, False) == (first.document["changed"], again.document["changed"])
    (ended,) = [e for e in stage.events() if isinstance(e, BypassEnded)]
    assert "leak" == ended.interlock


def test_the_list_says_what_each_interlock_holds(stage: Stage) -> None:
    """All of them, and what is left aside now."""
    stage.run("bypass", "leak", *GRANT)
    told = stage.run("bypass", "--json")
    listed = {row["interlock"]: row["about"] for row in rows(told, "interlocks")}
    assert set(BYPASSABLE) == set(listed)
    assert all(about.endswith(".") for about in listed.values())
    assert ["leak"] == [row["interlock"] for row in rows(told, "bypasses")]
    known = {
        row["interlock"]: (row["scope"], row["effect"], row["lasting"])
        for row in rows(told, "interlocks")
    }
    assert ("water", "stops", "latched") == known["leak"]
    assert ("alkalinity", "stops", "held") == known["alkalinity-ceiling"]
    assert ("alkalinity", "stops", "latched") == known["alkalinity-swing-up"]
    assert ("alkalinity", "shortens", "moment") == known["alkalinity-probes"]


def test_h59_a_status_shows_what_is_left_aside(stage: Stage) -> None:
    """Bypass, probe, treatment and absence, each with its end."""
    stage.run("bypass", "leak", *GRANT)
    soon = _day(stage, 3)
    stage.run("out-of-service", "kh", "--until", soon, "--reason", "cable")
    stage.run("event", "treatment", "--until", soon)
    page = stage.run("status").out
    for words in ("Bypass leak (tank/reef)", "probe kh until", "carbon or traces"):
        assert words in page, page
    told = stage.run("status", "--json")
    assert ["leak"] == [row["interlock"] for row in rows(told, "bypasses")]
    assert ["kh"] == [row["probe"] for row in rows(told, "out_of_service")]
    assert ["reef"] == [row["tank"] for row in rows(told, "treatments")]
    assert told.document["away"] is None


def rows(told: Outcome, key: str) -> list[dict[str, str]]:
    """One list of a document."""
    found = told.document[key]
    assert isinstance(found, list)
    return found


def _day(stage: Stage, ahead: int) -> str:
    """A day so many days from now."""
    return (stage.stamp()["at"] + timedelta(days=ahead)).date().isoformat()


def test_h59_a_probe_is_out_of_service_until_the_end_of_a_day(stage: Stage) -> None:
    """Local midnight in Berlin; without a test the person is told what that means."""
    day = _day(stage, 5)
    told = stage.run("out-of-service", "kh", "--until", day, "--json")
    assert (0, False) == (told.code, told.document["is_tested"])
    (taken,) = [e for e in stage.events() if isinstance(e, ProbeTakenOut)]
    assert taken.until.strftime("%H:%M") in ("22:00", "23:00")
    assert day == (taken.until - timedelta(hours=3)).date().isoformat()
    text = stage.run("out-of-service", "kh", "--until", day).out
    assert "only the base is dosed" in " ".join(text.split())


def test_a_test_of_today_stands_in_for_a_probe(stage: Stage) -> None:
    """Then nothing more is asked for."""
    assert 0 == stage.run("record", "alkalinity=8.1 dKH").code
    told = stage.run("out-of-service", "kh", "--until", _day(stage, 2), "--json")
    assert told.document["is_tested"] is True


@pytest.mark.parametrize(
    ("probe", "ahead", "place"),
    [("kh", 15, "--until"), ("kh", -1, "--until"), ("ph", 3, "PROBE")],
)
def test_h59_a_probe_is_out_for_two_weeks_at_most(
    stage: Stage, probe: str, ahead: int, place: str
) -> None:
    """Neither longer, nor backwards, nor one that is not there."""
    told = stage.run("out-of-service", probe, "--until", _day(stage, ahead), "--json")
    assert 2 == told.code
    assert [place] == [error["where"] for error in told.errors]
    assert {} == stage.folded().out_of_service


def test_a_probe_comes_back_by_a_word(stage: Stage) -> None:
    """Once; a probe that never was out changes nothing, an unknown one is refused."""
    stage.run("out-of-service", "kh", "--until", _day(stage, 2))
    assert stage.run("in-service", "kh", "--json").document["changed"] is True
    assert stage.run("in-service", "kh", "--json").document["changed"] is False
    assert 1 == len([e for e in stage.events() if isinstance(e, ProbePutBack)])
    assert 2 == stage.run("in-service", "no").code


def test_h58_a_refill_is_counted_from_what_it_holds(stage: Stage) -> None:
    """What the file says, or what is said; what was left before is told."""
    full = stage.run("refill", "carbonate", "--json")
    assert (5_000_000, 5_000_000) == (
        full.document["content_ul"],
        full.document["before_ul"],
    )
    half = stage.run("refill", "carbonate", "--content", "2.5 L", "--confirm", "--json")
    assert (2_500_000, 5_000_000) == (
        half.document["content_ul"],
        half.document["before_ul"],
    )
    assert 2_500_000 == stage.folded().fills["carbonate"].content_ul


def test_a_refill_may_name_the_pump(tmp_path: Path) -> None:
    """The bottle that pump draws from, by what it holds or by its volume."""
    text = SMALLEST / "slackwater.toml"
    config = changed(tmp_path / "c", SMALLEST)
    renamed = text.read_text("utf-8").replace(
        "[reservoir.carbonate]", "[reservoir.jar]"
    )
    renamed = renamed.replace('reservoir = "carbonate"', 'reservoir = "jar"')
    (config / "slackwater.toml").write_text(renamed, "utf-8")
    stage = stage_of(tmp_path, config)
    told = stage.run("refill", "carbonate", "--volume", "1 L", "--json").document
    assert ("jar", 1_000_000) == (told["reservoir"], told["content_ul"])
    assert 1_000_000 == stage.folded().fills["jar"].content_ul


def test_a_refill_says_until_when_it_keeps(tmp_path: Path) -> None:
    """A container opened on the second of January, of what keeps ninety days."""
    kept = ('content = "2 L"', 'content = "2 L"\nkeeps = "90 d"')
    stage = stage_of(tmp_path, changed(tmp_path / "c", SMALLEST, slackwater=kept))
    words = ("carbonate", "--opened", "2026-01-02 10:00")
    told = stage.run("refill", *words, "--json")
    # Ninety days of 24 h after nine o'clock UTC.
    assert "2026-04-02T09:00:00.000000Z" == told.document["keeps_until"]
    assert "it kept until" in stage.run("refill", *words).out
    assert "It keeps until" in stage.run("refill", "carbonate").out


def test_a_refill_says_when_its_solution_was_made(stage: Stage) -> None:
    """It keeps from then on, not from when it was filled in."""
    stage.run("refill", "carbonate", "--mixed", "2026-01-02 10:00")
    (filled,) = [e for e in stage.events() if isinstance(e, ReservoirFilled)]
    assert (2026, 1, 2, 9) == filled.mixed_at.timetuple()[:4]


@pytest.mark.parametrize(
    "words",
    [("no",), ("carbonate", "--content", "2"), ("carbonate", "--mixed", "soon")],
)
def test_a_refill_that_cannot_be_is_refused(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """An unknown bottle, a volume without a unit, no time."""
    assert 2 == stage.run("refill", *words).code
    assert {} == stage.folded().fills


def test_a_treatment_may_have_an_end_and_nothing_else_may(stage: Stage) -> None:
    """The end of that day; a harvest has none."""
    told = stage.run("event", "treatment", "--until", _day(stage, 4), "--json")
    assert 0 == told.code
    (noted,) = [e for e in stage.events() if isinstance(e, HusbandryNoted)]
    assert noted.until is not None
    assert {"reef": noted.until} == stage.folded().treatments
    assert 2 == stage.run("event", "harvest", "--until", _day(stage, 4)).code
    assert 2 == stage.run("event", "treatment", "--until", _day(stage, 61)).code
    assert 0 == stage.run("event", "treatment").code
    assert {"reef": noted.until} == stage.folded().treatments
