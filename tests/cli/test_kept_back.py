"""`status` and `release` tell what keeps doses back when no hold does."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import LedgerRestored
from slackwater.facts.reasons import Code, Reason, because
from slackwater.outside.glimpse import PumpGlimpse
from slackwater.service.standing import only_one
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import PEQ_PER_DKH, first_line, give, live
from tests.cli.test_status_cut_off import seen

TESTED = because(Code.ALKALINITY_TEST, tested_meq_per_l=3.459, ceiling_meq_per_l=3.388)
ROLLING = because(Code.CAP_ROLLING, charged_ul=50_000, asked_ul=3000, cap_ul=50_000)
WHOLE = PumpGlimpse(pump="carbonate", asked_ul=3000, volume_ul=3000)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, live."""
    return live(stage_of(tmp_path))


def refuses(stage: Stage, *reasons: Reason, also: bool = False) -> None:
    """The gate has these against carbonate, and against calcium as well."""
    calcium = replace(WHOLE, pump="calcium")
    lines = {
        "reef/carbonate": replace(WHOLE, refused=reasons),
        "reef/calcium": replace(calcium, refused=reasons) if also else calcium,
    }
    seen(stage, lines=lines)


def words(stage: Stage, *verb: str) -> str:
    """What a verb prints, on one line."""
    return " ".join(stage.run(*verb).out.split())


def tank(stage: Stage) -> dict[str, object]:
    """The only tank of a status document."""
    tanks = stage.run("status", "--json").document["tanks"]
    assert isinstance(tanks, list)
    found: dict[str, object] = tanks[0]
    return found


def test_a_test_above_the_ceiling_leads_the_status(stage: Stage) -> None:
    """No hold stands, and yet no dose of carbonate would begin."""
    with only_one(stage.state):
        refuses(stage, TESTED)
        told = words(stage, "status")
        document = stage.run("status", "--json").document
    assert told.startswith("HELD carbonate: A hand test found alkalinity")
    assert "held" == document["state"]
    kept = document["kept_back"]
    assert isinstance(kept, list)
    assert [("reef/carbonate", ["alkalinity-test"])] == [
        (one["line"], [reason["code"] for reason in one["reasons"]]) for one in kept
    ]


def test_what_is_refused_is_not_told_as_the_next_dose(stage: Stage) -> None:
    """In its place stands what keeps it back, and when at the earliest it ends."""
    with only_one(stage.state):
        refuses(stage, TESTED, also=True)
        told = words(stage, "status")
        found = tank(stage)["next"]
    assert told.startswith("HELD A hand test found alkalinity")
    assert "3 mL is held (A hand test found alkalinity" in told
    assert "), not before " in told
    assert isinstance(found, dict)
    assert (True, found["due"]) == (found["held"], found["not_before"])


def test_a_hold_stands_in_place_of_the_next_dose(stage: Stage) -> None:
    """Also where no daemon looked lately: holds are in the ledger."""
    with only_one(stage.state):
        stage.run("hold", "--by", "keeper")
        told = words(stage, "status")
    assert "3 mL is held (A person asked for a hold), not before " in told


def test_caps_that_come_free_in_time_hold_nothing(stage: Stage) -> None:
    """Used up now, with room by the time the next dose is due."""
    give(stage, 1, PEQ_PER_DKH // 100)
    with only_one(stage.state):
        refuses(stage, ROLLING)
        assert first_line(stage).startswith("LIVE  ")
        assert 0 == stage.run("why", "carbonate").code


@pytest.mark.parametrize("looked", [True, False])
def test_caps_nobody_answered_for_lead_and_say_how_long(
    stage: Stage, looked: bool
) -> None:
    """After a restore they are used up for a day; no release ends that."""
    stamp = stage.stamp()
    restored = LedgerRestored(
        **stamp,
        made_at=stamp["at"],
        entries=1,
        boot_id="b",
        answered=False,
        by="keeper",
    )
    stage.append(restored)
    with only_one(stage.state):
        if looked:
            refuses(stage, ROLLING, also=True)
        lead, released = first_line(stage), words(stage, "release", "--all")
        found = tank(stage)["next"]
        document = stage.run("release", "--all", "--json").document
    assert lead.startswith("HELD  More than the pump's cap for any 24 hours")
    assert "Still kept back:" in released
    assert "carbonate: More than the pump's cap for any 24 hours" in released
    assert "not before" in released
    assert isinstance(found, dict)
    kept = document["kept_back"]
    assert isinstance(kept, list)
    assert {"reef/carbonate", "reef/calcium"} == {one["line"] for one in kept}


def test_a_release_says_what_no_hold_keeps_back(stage: Stage) -> None:
    """Nothing to release is not the same as nothing held."""
    with only_one(stage.state):
        refuses(stage, TESTED)
        told = words(stage, "release", "--all")
        refuses(stage)
        free = words(stage, "release", "--all")
    assert told.startswith("No hold stands. Still kept back: carbonate: A hand")
    assert "slackwater why" in told
    assert "Nothing was held." == free


@pytest.mark.parametrize(
    "reason",
    [because(Code.GAP_SAME_PUMP, left_s=5), because(Code.EXCHANGE_WAITS)],
)
def test_what_passes_by_itself_leaves_it_live(stage: Stage, reason: Reason) -> None:
    """Turns and gaps of every day are no hold."""
    with only_one(stage.state):
        refuses(stage, reason, also=True)
        assert first_line(stage).startswith("LIVE  ")


def test_a_line_beside_a_hold_of_another_is_told_too(stage: Stage) -> None:
    """The hold leads, and what the gate refuses stands below it."""
    with only_one(stage.state):
        stage.run("hold", "--scope", "pump/calcium")
        refuses(stage, TESTED)
        told = words(stage, "status")
    assert told.startswith("HELD pump/calcium: A person asked for a hold.")
    assert "Held carbonate: A hand test found alkalinity" in told


def test_what_was_seen_long_ago_leads_no_status(stage: Stage) -> None:
    """Four minutes are too old to speak of now."""
    with only_one(stage.state):
        old = stage.stamp()["at"] - timedelta(minutes=4)
        refused = replace(WHOLE, refused=(TESTED,))
        seen(stage, at=old, lines={"reef/carbonate": refused})
        assert first_line(stage).startswith("LIVE  ")
