"""`why`: everything that allows, shortens or holds, and what would end it."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.stages import CapsLowered
from slackwater.outside.glimpse import (
    Glimpse,
    NodeGlimpse,
    ProbeGlimpse,
    PumpGlimpse,
    write_glimpse,
)
from slackwater.service.standing import only_one
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import PEQ_PER_DKH, give, live, miss

NAME = "reef/carbonate@2026-05-03#01"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with an approved plan in force, in shadow."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


def seen(stage: Stage, **changes: object) -> None:
    """The daemon wrote down what it saw just now, all being well."""
    at = stage.stamp()["at"]
    whole = PumpGlimpse(pump="carbonate", asked_ul=3000, volume_ul=3000)
    glimpse = Glimpse(
        at=at,
        mode="shadow",
        synchronised=True,
        observe_up=True,
        actuate_up=True,
        free_bytes=10**9,
        nodes={
            "shelf": NodeGlimpse(
                beat_age_s=3.0,
                up_s=90_000.0,
                held=False,
                channels={"a": ("idle", 88_000)},
            )
        },
        probes={
            "kh": ProbeGlimpse(
                parameter="alkalinity", value=2.8532, taken_at=at - timedelta(minutes=4)
            )
        },
        lines={"reef/carbonate": whole, "reef/calcium": replace(whole, pump="calcium")},
    )
    write_glimpse(stage.state, replace(glimpse, **changes))  # type: ignore[arg-type]  # fields of it


def line_of(stage: Stage, pump: str) -> dict[str, object]:
    """The one line of a pump in the document."""
    lines = stage.run("why", pump, "--json").document["lines"]
    assert isinstance(lines, list)
    (line,) = lines
    assert isinstance(line, dict)
    return line


def test_without_a_name_all_pumps_are_told(stage: Stage) -> None:
    """One line each; nothing holds, and what was seen is fresh."""
    with only_one(stage.state):
        seen(stage)
        told = stage.run("why")
    assert 0 == told.code
    assert "In shadow: everything is computed and no pump is commanded." in told.out
    assert "As the daemon saw it 0 s ago; holds are as of now." in told.out
    for pump in ("carbonate", "calcium"):
        assert any(
            line.startswith(pump) and "would dose; 3 mL due" in line
            for line in told.out.splitlines()
        )


def test_a_pump_is_told_with_figures_and_ages(stage: Stage) -> None:
    """What was seen, what the ledger knows, what is counted against which cap."""
    live(stage)
    give(stage, 1, PEQ_PER_DKH)
    with only_one(stage.state):
        seen(stage)
        told = " ".join(stage.run("why", "carbonate").out.split())
    assert "carbonate reef/carbonate may dose; 3 mL due" in told
    assert "the link is up; the clock is synchronised" in told
    assert "node shelf was heard 3 s before, idle, with room for 88 mL" in told
    assert "calibrated" in told
    assert "1 mL of 50 mL in 24 h, 1 dKH of 1.8 dKH alkalinity in 24 h" in told


def test_the_cap_on_a_rise_is_told_beside_what_is_poured_in(stage: Stage) -> None:
    """It binds first: 1 dKH of 1.8 leaves 0.8, and beside an uptake of 0.8 only 0.3."""
    live(stage)
    give(stage, 1, PEQ_PER_DKH)
    told = " ".join(stage.run("why", "carbonate").out.split())

    assert (
        "1 dKH of 1.8 dKH alkalinity in 24 h, 0.2 dKH of 0.5 dKH net rise of alkalinity"
    ) in told
    found = line_of(stage, "calcium")["counted"]
    assert isinstance(found, list)
    rises = [one for one in found if one["what"].startswith("net rise")]
    # 15 mg/L beside an uptake of 5 never binds before the 15 that may be poured in.
    assert [] == rises


def test_caps_that_the_file_holds_lower_are_told_as_they_count(stage: Stage) -> None:
    """Not as they were approved."""
    caps = {
        "pump/carbonate/per_day_ul": 40_000,
        "cap/reef/alkalinity/gross": PEQ_PER_DKH,
    }
    stage.append(CapsLowered(**stage.stamp(), caps=caps))
    told = " ".join(stage.run("why", "carbonate").out.split())

    assert "0 µL of 40 mL in 24 h, 0 dKH of 1 dKH alkalinity in 24 h" in told


def test_a_hold_is_told_with_its_age_and_its_end(stage: Stage) -> None:
    """From the ledger as of now, whatever the daemon saw before."""
    with only_one(stage.state):
        seen(stage)
        stage.run("hold", "--scope", "pump/carbonate", "--note", "tube leaks")
        told = stage.run("why", "carbonate")
        assert 1 == told.code
        assert "Held      A person asked for a hold." in told.out
        assert '"tube leaks"' in told.out
        assert "Ends: A person releases the hold on the machine" in told.out
        assert "held" == line_of(stage, "carbonate")["now"]
        # The other of the pair doses with it or not at all.
        assert "held" == line_of(stage, "calcium")["now"]


def test_h59_a_hold_that_is_left_aside_holds_nothing_and_says_so(stage: Stage) -> None:
    """For the pump that is named, and no other; the hold stands all the same."""
    with only_one(stage.state):
        seen(stage)
        raised = HoldRaised(
            **stage.stamp(),
            hold_id="alkalinity-ceiling/reef",
            scope="alkalinity/reef",
            reason=because(Code.ALKALINITY_CEILING, newest_meq_per_l=3.6),
            latched=False,
        )
        stage.append(raised)
        assert "held" == line_of(stage, "carbonate")["now"]
        words = ("--scope", "pump/carbonate", "--reason", "probe is cleaned")
        stage.run("bypass", "alkalinity-ceiling", *words, "--for", "1h")
        told = stage.run("why", "carbonate").out
        assert "Bypassed  alkalinity-ceiling until" in told
        assert '"probe is cleaned"' in told
        assert "Held" not in told
        aside = str(line_of(stage, "carbonate")["bypasses"])
        assert "'interlock': 'alkalinity-ceiling'" in aside
        assert "held" == line_of(stage, "calcium")["now"]


def test_a_pause_ends_by_itself(stage: Stage) -> None:
    """It says in how long."""
    stamp = stage.stamp()
    stage.append(
        HoldRaised(
            **stamp,
            hold_id="pause/p1",
            scope="tank/reef",
            reason=because(Code.PAUSE),
            latched=False,
            until=stamp["at"] + timedelta(minutes=30),
            by="request",
        )
    )
    assert "Ends by itself in 29 min." in stage.run("why", "carbonate").out


def test_what_the_gate_saw_keeps_it_or_makes_it_smaller(stage: Stage) -> None:
    """Its own reasons with their figures, and the way out of each."""
    absent = because(Code.NODE_ABSENT, node="shelf", beat_age_s=41.0)
    stale = because(Code.ALKALINITY_STALE, probe="kh", age_min=95)
    whole = PumpGlimpse(pump="carbonate", asked_ul=3000, volume_ul=3000)
    with only_one(stage.state):
        seen(
            stage,
            lines={
                "reef/carbonate": replace(whole, volume_ul=2400, shortened=(stale,)),
                "reef/calcium": replace(
                    whole, pump="calcium", volume_ul=0, refused=(absent,)
                ),
            },
        )
        shortened = stage.run("why", "carbonate")
        refused = stage.run("why", "calcium")
        both = stage.run("why")
    assert (0, 1, 1) == (shortened.code, refused.code, both.code)
    assert "would dose 2.4 mL instead of 3 mL" in shortened.out
    assert "Shortens  The newest alkalinity reading is too old" in shortened.out
    assert "Keeps it  No fresh beat from the pump node" in refused.out
    assert "Ends: It ends when the node is heard again." in refused.out
    assert "No fresh beat from the pump node" in both.out


def test_a_gap_that_ends_before_the_next_dose_holds_nothing(stage: Stage) -> None:
    """Right after a dose the pump may not run, and need not."""
    gap = because(Code.GAP_SAME_PUMP, left_s=5)
    late = because(Code.GAP_APART, pump="calcium", left_s=10**6)
    whole = PumpGlimpse(pump="carbonate", asked_ul=3000, volume_ul=3000)
    with only_one(stage.state):
        seen(stage, lines={"reef/carbonate": replace(whole, refused=(gap,))})
        soon = stage.run("why", "carbonate")
        seen(stage, lines={"reef/carbonate": replace(whole, refused=(gap, late))})
        never = stage.run("why", "carbonate")
    assert (0, 1) == (soon.code, never.code)
    assert "Passes    Too soon after the pump's last run (left 5 s)." in soon.out
    assert "would dose; 3 mL due" in soon.out
    assert "Keeps it  Too soon after a solution that must be kept apart" in never.out


@pytest.mark.parametrize("minutes", [4, 60])
def test_an_old_glimpse_is_left_out_and_said_so(stage: Stage, minutes: int) -> None:
    """Nobody explains the present by the past."""
    with only_one(stage.state):
        seen(stage, at=stage.stamp()["at"] - timedelta(minutes=minutes))
        told = stage.run("why", "carbonate")
        assert "unknown" == line_of(stage, "carbonate")["now"]
    assert f"What the daemon saw is {minutes}" in told.out.replace(
        "1 h 0 min", "60 min"
    )
    assert "nobody looked lately" in told.out


def test_without_a_daemon_nothing_is_dosed(stage: Stage) -> None:
    """However fresh what it left behind is."""
    seen(stage)
    told = stage.run("why")
    assert "No daemon runs on this ledger: nothing is dosed." in told.out
    assert "nobody looked lately" in told.out


def test_a_dose_that_ended_is_dosed(stage: Stage) -> None:
    """With its volumes and every entry of its life."""
    give(stage, 1, PEQ_PER_DKH)
    told = stage.run("why", NAME)
    assert 0 == told.code
    assert f"{NAME}  dosed" in told.out
    assert "asked 1 mL, charged 1 mL, believed 1 mL" in told.out
    assert "dose ended, full" in told.out
    assert "dosed" == stage.run("why", NAME, "--json").document["became"]


def test_a_missed_dose_says_that_it_will_not_be_made_up(stage: Stage) -> None:
    """And why, with exit code 1."""
    miss(stage, 2, PEQ_PER_DKH)
    told = stage.run("why", "reef/carbonate@2026-05-03#02")
    assert 1 == told.code
    assert "missed, will not be made up" in told.out
    assert "The latest start passed." in told.out


def test_the_next_dose_is_not_due_yet(stage: Stage) -> None:
    """It is explained by its pump."""
    following = line_of(stage, "carbonate")["next"]
    assert isinstance(following, dict)
    told = stage.run("why", following["dose"])
    assert f"{following['dose']} is not due yet." in told.out
    assert "carbonate" in told.out


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("no-such", 'the plan in force has no pump "no-such"'),
        ("reef/no@2026-05-03#01", 'nobody knows a dose "reef/no@2026-05-03#01"'),
    ],
)
def test_an_unknown_name_is_one_clear_error(stage: Stage, name: str, what: str) -> None:
    """What there is instead stands beside it."""
    told = stage.run("why", name)
    assert 2 == told.code
    assert what in told.err


def test_without_a_plan_it_says_so(tmp_path: Path) -> None:
    """Nothing is approved, nothing is dosed."""
    told = stage_of(tmp_path).run("why")
    assert (0, True) == (told.code, "No plan is approved" in told.out)


def test_writes_nothing(stage: Stage) -> None:
    """Asking changes neither ledger nor folder."""
    before = {path: path.read_bytes() for path in stage.state.iterdir()}
    stage.run("why")
    stage.run("why", "carbonate")
    assert before == {path: path.read_bytes() for path in stage.state.iterdir()}


def test_what_nobody_answered_is_counted_as_the_gate_counts_it(tmp_path: Path) -> None:
    """All of every cap right after `init --unanswered`, and it says what it is."""
    stage = Stage(SMALLEST, tmp_path / "state")
    assert 0 == stage.run("init", "--unanswered", "--by", "keeper").code
    assert 0 == stage.approve("--now").code
    told = " ".join(stage.run("why", "carbonate").out.split())
    found = line_of(stage, "carbonate")["counted"]
    assert isinstance(found, list)
    shares = [one["charged"] / one["cap"] for one in found]
    # All of 1.8 dKH beside an uptake of 0.8 would be a rise of twice the 0.5 there is.
    assert [1.0, 1.0, 1.0, 2.0] == pytest.approx(shares, rel=0.01)
    assert "because nobody said what was dosed before the ledger was made" in told


def test_a_pump_of_two_lines_is_listed_with_each(tmp_path: Path) -> None:
    """The second line of carbonate; the pump of one line stands alone."""
    second = (
        '[[line]]\nid = "carbonate-up"\ntank = "reef"\nsolution = "carbonate"\n'
        'per_day = "1 mL"\ntimes = ["09:30"]\n\n[group.balanced]'
    )
    config = changed(tmp_path, SMALLEST, plan=("[group.balanced]", second))
    stage = stage_of(tmp_path, config)
    assert 0 == stage.approve("--now", highest="73 mL").code
    told = stage.run("why").out.splitlines()
    assert 1 == told.count("carbonate (reef/carbonate)")
    assert 1 == told.count("carbonate (reef/carbonate-up)")
    assert 1 == told.count("calcium")


def test_nothing_is_due_before_the_plan_takes_over(tmp_path: Path) -> None:
    """Approved for a day in two days' time: that is when the first one comes."""
    stage = stage_of(tmp_path)
    at = stage.stamp()["at"] + timedelta(days=2)
    assert 0 == stage.approve("--at", at.isoformat(timespec="seconds")).code
    due = line_of(stage, "carbonate")["next"]
    assert isinstance(due, dict)
    assert due["due"] >= at.strftime("%Y-%m-%dT%H:%M:%SZ")
