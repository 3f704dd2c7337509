"""`status`: one screen, the state first."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import (
    DoseEnded,
    DoseIntended,
    DoseMissed,
    ReadingKept,
)
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.waters import MeasurementKept
from slackwater.service.standing import only_one
from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, stage_of

TOP = Path(__file__).resolve().parents[2]
LINES, COLUMNS = 24, 80
# One German degree, 10 mg/L CaO at 56.077 g/mol with two equivalents.
MEQ_PER_DKH = 20 / 56.077
PEQ_PER_DKH = round(MEQ_PER_DKH * 200 * 1e9)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def live(stage: Stage) -> Stage:
    """Pumps enabled by an approved plan."""
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow()
    assert 0 == stage.run("enable").code
    return stage


def due(number: int, volume_ul: int, stage: Stage) -> DueDose:
    """A dose of carbonate that was due just now."""
    at = stage.stamp()["at"]
    return DueDose(
        id=f"reef/carbonate@2026-05-03#{number:02d}",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=date(2026, 5, 3),
        ordinal=number,
        due_at=at,
        latest_at=at + timedelta(minutes=15),
        volume_ul=volume_ul,
    )


def give(stage: Stage, number: int, peq: int) -> None:
    """A dose that was planned, intended and ended in full."""
    attempt = f"{number:032x}"
    command = RunPump(
        node="shelf",
        channel="a",
        attempt=attempt,
        boot="0" * 16,
        n=number,
        fence=1,
        ul=1000,
        ms=2000,
        cut_ms=2300,
        until_up=1,
        cal="00000000",
    )
    stage.append(
        DoseIntended(
            **stage.stamp(),
            dose=due(number, 1000, stage),
            dose_kind="plan",
            command=command,
            planned_ul=1000,
            solution="carbonate",
            local_day=date(2026, 5, 3),
            odo_ul=0,
            flow_end_ms=0,
            effects={"alkalinity": peq},
            planned_effects={"alkalinity": peq},
        ),
        DoseEnded(
            **stage.stamp(),
            attempt=attempt,
            how="full",
            believed_ul=1000,
            charge_ul=1000,
            source="reported",
        ),
    )


def miss(stage: Stage, number: int, peq: int) -> None:
    """A dose that was planned and not given."""
    stage.append(
        DoseMissed(
            **stage.stamp(),
            dose=due(number, 1000, stage),
            reasons=(because(Code.WINDOW_PASSED),),
            effects={"alkalinity": peq},
        )
    )


def only_tank(stage: Stage) -> dict[str, object]:
    """The one tank of a status document."""
    tanks = stage.run("status", "--json").document["tanks"]
    assert isinstance(tanks, list)
    (tank,) = tanks
    assert isinstance(tank, dict)
    return tank


def first_line(stage: Stage) -> str:
    """The line a status leads with."""
    return stage.run("status").out.splitlines()[0]


def test_leads_with_the_state(stage: Stage) -> None:
    """Stopped, without a plan, in shadow, live, held: each with its reason."""
    assert "STOPPED  No daemon runs on this ledger; nothing is dosed." == first_line(
        stage
    )
    with only_one(stage.state):
        assert first_line(stage).startswith("NO PLAN  No plan is approved")
        stage.approve("--now")
        assert first_line(stage).startswith("SHADOW  ")
        live(stage)
        assert first_line(stage).startswith("LIVE  ")
        stage.run("hold", "--note", "hands in the tank")
        assert "HELD  A person asked for a hold." == first_line(stage)
        assert '"hands in the tank"' in stage.run("status").out


def test_says_what_is_missing_in_shadow(stage: Stage) -> None:
    """The stage with its time, and everything that is missing, with its verb."""
    text = stage.run("status").out
    assert (
        "Stage shadow for 0 s; missing before pumps may run: pump calcium, pump "
        "carbonate (`slackwater calibrate PUMP`), approval (`slackwater rehearse "
        "--faults`, then `slackwater approve`), at least 1 d 0 h in shadow "
        "(`slackwater run`)"
    ) in " ".join(text.split())
    stage.approve("--now")
    document = stage.run("status", "--json").document
    assert 3 == len(document["missing"])  # type: ignore[arg-type]  # a list
    text = " ".join(stage.run("status").out.split())
    assert (
        "missing before pumps may run: pump calcium, pump carbonate (`slackwater "
        "calibrate PUMP`), at least 1 d 0 h in shadow (`slackwater run`)"
    ) in text


def test_every_pump_to_measure_is_named_before_a_plan_is_approved(
    stage: Stage, tmp_path: Path
) -> None:
    """By the plan's file, whichever was measured first; without files by no name."""
    stage.commission("carbonate")
    text = " ".join(stage.run("status").out.split())
    assert "may run: pump calcium (`slackwater calibrate PUMP`), approval" in text

    stage.commission("calcium", proofs=("identity",))
    text = " ".join(stage.run("status").out.split())
    assert "may run: pump calcium (`slackwater calibrate PUMP`), approval" in text

    (tmp_path / "bare").mkdir()
    bare = stage_of(tmp_path / "bare")
    nowhere = Stage(tmp_path / "nowhere", bare.state)
    text = " ".join(nowhere.run("status").out.split())
    assert "may run: pumps (`slackwater calibrate PUMP`), approval" in text


def test_given_against_planned_with_the_shortfall(stage: Stage) -> None:
    """One degree given, half a degree missed: short by half a degree."""
    live(stage)
    give(stage, 1, PEQ_PER_DKH)
    miss(stage, 2, PEQ_PER_DKH // 2)
    text = stage.run("status").out
    assert "alkalinity: given 1 dKH of 1.5 dKH planned, short by 0.5 dKH" in text
    assert "Missed       1 dose in 24 h of carbonate: The latest start passed." in text
    tank = only_tank(stage)
    assert ("1", "1.5", "0.5") == tuple(
        f"{float(str(tank[key])):.3g}" for key in ("given", "planned", "short")
    )


def test_time_to_floor_and_ceiling_start_from_the_reading(stage: Stage) -> None:
    """7.5 dKH: 1 degree above the floor at 1 dKH a day, 2 below the ceiling."""
    live(stage)
    read(stage, 7.5)
    text = stage.run("status").out
    assert "Alkalinity   7.50 dKH, 12 min old (kh)" in text
    assert "Floor        24 h to 6.50 dKH if dosing stopped" in text
    # 0.943 dKH a day, as `check` says: 2 / 0.943 * 24.
    assert "Ceiling      51 h to 9.50 dKH if uptake stopped" in text


@pytest.mark.parametrize(
    ("dkh", "words"),
    [
        (9.8, "Ceiling      9.50 dKH is passed"),
        (6.2, "Floor        6.50 dKH is passed"),
    ],
)
def test_a_limit_that_is_passed_is_not_said_to_be_0_h_away(
    stage: Stage, dkh: float, words: str
) -> None:
    """The other one is as far as it is."""
    live(stage)
    read(stage, dkh)
    text = stage.run("status").out
    assert words in text
    assert 1 == text.count("is passed")


def read(stage: Stage, dkh: float) -> None:
    """The probe showed a level twelve minutes ago."""
    at = stage.stamp()["at"] - timedelta(minutes=12)
    stage.append(
        ReadingKept(
            **stage.stamp(),
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=dkh * MEQ_PER_DKH,
            taken_at=at,
        )
    )


def test_without_a_probe_the_target_is_named_as_such(stage: Stage) -> None:
    """Nobody measured: the figures say where they start."""
    stage.approve("--now")
    assert "start from the target 8.00 dKH" in stage.run("status").out


@pytest.mark.parametrize(
    ("probe_min", "shown"), [(None, "7.20 dKH, 30 min"), (5, "7.50 dKH, 5 min")]
)
def test_the_newest_of_test_and_probe_is_shown(
    stage: Stage, probe_min: int | None, shown: str
) -> None:
    """A tank without a probe lives on its keeper's tests."""
    stage.approve("--now")
    at = stage.stamp()["at"]
    stage.append(
        MeasurementKept(
            **stage.stamp(),
            id="m-1",
            tank="reef",
            parameter="alkalinity",
            value=7.2 * MEQ_PER_DKH,
            typed="7.2 dKH",
            taken_at=at - timedelta(minutes=30),
            provenance="hand",
            by="keeper",
        )
    )
    if probe_min is not None:
        stage.append(
            ReadingKept(
                **stage.stamp(),
                tank="reef",
                probe="kh",
                parameter="alkalinity",
                value=7.5 * MEQ_PER_DKH,
                taken_at=at - timedelta(minutes=probe_min),
            )
        )
    text = stage.run("status").out
    assert (
        f"Alkalinity   {shown} old ({'by hand' if probe_min is None else 'kh'})" in text
    )


def test_next_dose_and_smallest_reservoir(stage: Stage) -> None:
    """2 L at 36 mL a day last 56 days; what was drawn shortens it."""
    live(stage)
    tank = only_tank(stage)
    bottle = tank["reservoir"]
    assert isinstance(bottle, dict)
    assert 2_000_000 == bottle["left_ul"]
    give(stage, 1, PEQ_PER_DKH)
    text = stage.run("status").out
    assert "Reservoir    carbonate lasts 56 days (1.999 L left), " in text
    assert " 3 mL at " in text


def test_the_run_out_date_has_an_interval(stage: Stage) -> None:
    """By hand: read to 10 mL, 2 x 10/sqrt(3) mL; rates within a tenth, 2 x 0.1/sqrt(3).

    What holds 95 percent: twice the standard deviation (JCGM 100:2008, 6.2.1, 4.3.7).
    """
    live(stage)
    stage.run("level", "carbonate", "1.8 L", "--within", "10 mL")
    stage.run("level", "calcium", "1.9 L", "--within", "10 mL")
    bottle = only_tank(stage)["reservoir"]
    assert isinstance(bottle, dict)
    reach, off = 2 * 10 / 3**0.5, 2 * 0.1 / 3**0.5
    assert "carbonate" == bottle["id"]
    assert (1800 - reach) / 36 / (1 + off) == pytest.approx(
        bottle["days_low"], rel=1e-4
    )
    assert (1800 + reach) / 36 / (1 - off) == pytest.approx(
        bottle["days_high"], rel=1e-4
    )


def tanks_of(folder: Path, count: int) -> Stage:
    """The two-tanks sample with so many more tanks, which dose nothing."""
    config = folder / "many"
    config.mkdir()
    source = CONFIG / "two-tanks"
    text = (source / "slackwater.toml").read_text("utf-8")
    more = "".join(
        f'\n[tank.idle-{n}]\nnet_volume = "100 L"\nzone = "Europe/Lisbon"\n'
        f'name = "{"A very long name of a tank " * 4}"\n'
        for n in range(count - 2)
    )
    (config / "slackwater.toml").write_text(text + more, "utf-8")
    plan = (source / "plan.toml").read_text("utf-8")
    (config / "plan.toml").write_text(plan, "utf-8")
    return stage_of(folder, config)


def test_hours_of_a_document_are_tenths(stage: Stage) -> None:
    """No digits that nobody can know."""
    stage.approve("--now")
    tank = only_tank(stage)
    for key in ("hours_to_floor", "hours_to_ceiling"):
        assert round(float(str(tank[key])), 1) == tank[key]


def test_writes_nothing(stage: Stage) -> None:
    """Looking changes neither ledger nor folder."""
    stage.approve("--now")
    before = {path: path.read_bytes() for path in stage.state.iterdir()}
    stage.run("status")
    assert before == {path: path.read_bytes() for path in stage.state.iterdir()}


def test_says_that_an_approval_expired(stage: Stage) -> None:
    """An approval past its end is not in force, and is not called live."""
    stage.approve("--now")
    state = stage.folded()
    (event,) = state.approvals
    gone = stage.stamp()["at"] - timedelta(seconds=1)
    approval = replace(event.approval, serial=2, expires_at=gone, grace_until=None)
    stage.append(replace(event, **stage.stamp(), approval=approval))
    with only_one(stage.state):
        assert first_line(stage).startswith("EXPIRED  ")


def test_says_how_long_upkeep_goes_on_after_the_end(stage: Stage) -> None:
    """In its grace it is still in force, and the plan line says until when."""
    stage.approve("--now")
    (event,) = stage.folded().approvals
    at = stage.stamp()["at"]
    approval = replace(
        event.approval,
        serial=2,
        expires_at=at - timedelta(hours=1),
        grace_until=at + timedelta(days=9, hours=1),
    )
    stage.append(replace(event, **stage.stamp(), approval=approval))
    with only_one(stage.state):
        told = stage.run("status").out
    assert told.startswith("SHADOW  ")
    assert "expired; upkeep goes on for 9 d" in " ".join(told.split())


@pytest.mark.parametrize("words", [("status",), ("status", "--json")])
def test_no_ledger_is_one_clear_error(tmp_path: Path, words: tuple[str, ...]) -> None:
    """Exit code 2 and what to do."""
    stage = Stage(CONFIG / "smallest", tmp_path)
    told = stage.run(*words)
    assert 2 == told.code
    assert "there is no ledger" in told.out + told.err
