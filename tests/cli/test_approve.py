"""`approve`: consent to one digest, given by a person who read it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.cli.reading import Files, read_files
from slackwater.cli.takeover import next_midnight, swap_for
from slackwater.facts.events import HoldRaised, PlanApproved, PlanWithdrawn
from slackwater.facts.reasons import Code
from slackwater.outside.approved import machine_from, plan_from
from slackwater.outside.settings import file_digests
from slackwater.pump.command import calibration_id
from tests.cli.run_program import CONFIG, SMALLEST, changed
from tests.cli.stage import Stage, stage_of

BERLIN = ZoneInfo("Europe/Berlin")
PLAN_DOSE = "36 mL"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def approvals(stage: Stage) -> list[PlanApproved]:
    """The approvals on record."""
    return [e for e in stage.events() if isinstance(e, PlanApproved)]


def with_amount(folder: Path, amount: str) -> Path:
    """The smallest sample with another amount a day and caps that allow it."""
    config = changed(folder, SMALLEST, plan=(PLAN_DOSE, amount))
    text = (config / "slackwater.toml").read_text("utf-8")
    for old, new in (
        ('most_per_dose = "4 mL"', 'most_per_dose = "40 mL"'),
        ('most_per_day = "50 mL"', 'most_per_day = "500 mL"'),
        ('day_limit = "80 mL"', 'day_limit = "800 mL"'),
        ('longest_run = "30 s"', 'longest_run = "90 s"'),
        ('gross = "1.8 dKH/day"', 'gross = "9 dKH/day"'),
        ('gross = "15 mg/L/day"', 'gross = "150 mg/L/day"'),
        (', net_rise = "0.5 dKH/day"', ""),
        (', net_rise = "15 mg/L/day"', ""),
    ):
        text = text.replace(old, new)
    (config / "slackwater.toml").write_text(text, "utf-8")
    return config


def test_the_approved_bytes_are_on_record(stage: Stage) -> None:
    """Digest, records, file hashes, calibrations and who stand in one entry."""
    told = stage.approve()
    assert 0 == told.code
    (event,) = approvals(stage)
    files = read_files(SMALLEST)
    assert files.machine == machine_from(event.machine)
    assert files.plan == plan_from(event.plan)
    assert file_digests(SMALLEST) == event.files
    approval = event.approval
    assert (1, "keeper", 72_000) == (
        approval.serial,
        approval.by,
        approval.highest_daily_ul,
    )
    assert told.document["digest"] == approval.digest
    nominal = {name: calibration_id(name, 500_000) for name in files.machine.pumps}
    assert nominal == approval.calibrations


def test_takes_over_at_the_next_local_midnight(stage: Stage) -> None:
    """The midnight of the tank's zone that ends the present day, for 180 days."""
    stage.approve()
    (event,) = approvals(stage)
    at = event.approval.takes_over_at.astimezone(BERLIN)
    assert (0, 0, 0) == (at.hour, at.minute, at.second)
    assert timedelta() < at - event.at <= timedelta(hours=25)
    assert timedelta(days=180) == event.approval.expires_at - at
    assert timedelta(days=194) == event.approval.ends_at - at


def test_the_same_digest_again_changes_nothing(stage: Stage) -> None:
    """A second consent to the same bytes is no entry, and says so."""
    stage.approve()
    again = stage.approve()
    assert (0, False) == (again.code, again.document["approved"])
    assert 1 == len(approvals(stage))


def test_a_new_calibration_wants_a_new_approval(stage: Stage) -> None:
    """Equal files, another rate: approved anew with what is in force."""
    stage.approve()
    stage.commission("carbonate")
    assert 0 == stage.approve().code
    measured = calibration_id("carbonate", stage.rate_of("carbonate"))
    newest = approvals(stage)[-1].approval
    assert (2, measured) == (newest.serial, newest.calibrations["carbonate"])


def test_h24_an_approval_stands_for_the_device_that_was_watched(stage: Stage) -> None:
    """The node that beat while its pump was calibrated, with its limits (H26)."""
    stage.commission("carbonate")
    stage.approve()
    seen = {"shelf": ("virtual-0001", "0badcafe")}
    assert seen == approvals(stage)[-1].approval.hardware


@pytest.mark.parametrize("typed", ["72 mL", "72000 uL", "0.072 L"])
def test_highest_volume_may_be_typed_in_any_unit(stage: Stage, typed: str) -> None:
    """What counts is the amount."""
    assert 0 == stage.approve(highest=typed).code


@pytest.mark.parametrize(
    ("typed", "code"), [("36 mL", 1), ("72", 2), ("72 ML", 2), ("", 2), ("nan mL", 2)]
)
def test_another_volume_approves_nothing(stage: Stage, typed: str, code: int) -> None:
    """Refused, or no volume at all: nothing is written, and the figure stays secret."""
    told = stage.approve(highest=typed)
    assert (code, False) == (told.code, told.document["ok"])
    assert "72 mL" not in told.out + told.err
    assert "72000" not in told.out + told.err
    assert [] == approvals(stage)


def test_asks_for_the_highest_volume(stage: Stage) -> None:
    """In the dialogue a person types it; the question does not name it."""
    stage.rehearsed()
    told = stage.run("approve", "--by", "keeper", typed="72 mL\n")
    assert 0 == told.code
    assert "Highest daily volume" in told.err
    question = told.err.split("together")[0]
    assert "72" not in question
    assert "Approved as 1 by keeper" in told.out


def test_a_dialogue_broken_off_approves_nothing(stage: Stage) -> None:
    """The end of the input is no consent."""
    stage.rehearsed()
    assert 2 == stage.run("approve", "--by", "keeper").code
    assert [] == approvals(stage)


def test_what_a_check_refuses_cannot_be_approved(tmp_path: Path) -> None:
    """All findings of the check, exit code 1, no entry."""
    config = changed(
        tmp_path / "files",
        SMALLEST,
        slackwater=('most_per_dose = "4 mL"', 'most_per_dose = "2 mL"'),
    )
    stage = stage_of(tmp_path, config)
    told = stage.approve()
    assert 1 == told.code
    assert ["calcium", "carbonate"] == [
        error["where"].removeprefix("line reef/") for error in told.errors
    ]
    assert [] == approvals(stage)


def test_now_takes_over_at_once(stage: Stage) -> None:
    """Nothing was approved before, so nothing needs to be left out."""
    stage.approve("--now")
    (event,) = approvals(stage)
    assert event.at == event.approval.takes_over_at
    assert event.approval.left_out_until is None


def test_now_leaves_out_doses_near_the_swap(tmp_path: Path) -> None:
    """The latest start, two hours for the last dose of a window, and the pair's gap."""
    stage = stage_of(tmp_path)
    stage.approve("--now")
    stage.config = changed(tmp_path / "files", SMALLEST, plan=(PLAN_DOSE, "30 mL"))
    assert 0 == stage.approve("--now", highest="60 mL").code
    newest = approvals(stage)[-1]
    left_out_until = newest.approval.left_out_until
    assert left_out_until is not None
    assert timedelta(hours=2, minutes=15) == left_out_until - newest.at


def test_a_plan_that_waits_is_withdrawn_by_the_next(tmp_path: Path) -> None:
    """Approved for midnight, then another at once: the first never takes over."""
    stage = stage_of(tmp_path)
    stage.approve()
    stage.config = changed(tmp_path / "files", SMALLEST, plan=(PLAN_DOSE, "30 mL"))
    stage.approve("--now", highest="60 mL")
    withdrawn = [e for e in stage.events() if isinstance(e, PlanWithdrawn)]
    assert [1] == [event.serial for event in withdrawn]
    assert [2] == [known.approval.serial for known in stage.folded().approvals]


def test_more_than_twice_asks_again(tmp_path: Path) -> None:
    """A threefold plan needs a yes; without one nothing is approved."""
    stage = stage_of(tmp_path)
    stage.approve()
    stage.config = with_amount(tmp_path / "files", "108 mL")
    stage.rehearsed()
    words = ("--by", "keeper", "--yes-highest-daily", "216 mL")
    told = stage.run("approve", *words, typed="n\n")
    assert 1 == told.code
    assert "x 3.00" in told.err
    assert 1 == len(approvals(stage))
    assert 0 == stage.run("approve", *words, typed="y\n").code
    assert 2 == len(approvals(stage))


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), 1),
        (("--ratio-checked", "5"), 1),
        (("--ratio-checked", "six"), 1),
        (("--ratio-checked", "nan"), 1),
        (("--ratio-checked", "1/0"), 1),
        (("--ratio-checked", "6"), 0),
        (("--ratio-checked", "6.00"), 0),
    ],
)
def test_more_than_five_times_wants_the_ratio(
    tmp_path: Path, words: tuple[str, ...], code: int
) -> None:
    """Six times as much is approved only with the ratio itself."""
    stage = stage_of(tmp_path)
    stage.approve()
    stage.config = with_amount(tmp_path / "files", "216 mL")
    assert code == stage.approve(*words, highest="432 mL").code
    assert (1 if code else 2) == len(approvals(stage))


def test_an_exact_half_asks_nothing(tmp_path: Path) -> None:
    """Less is approved without a second question."""
    stage = stage_of(tmp_path)
    stage.approve()
    stage.config = changed(tmp_path / "files", SMALLEST, plan=(PLAN_DOSE, "18 mL"))
    assert 0 == stage.approve(highest="36 mL").code


def test_a_changed_pump_is_held_while_live(tmp_path: Path) -> None:
    """Another channel: the pump stands still until it was calibrated."""
    stage = stage_of(tmp_path)
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow()
    assert 0 == stage.run("enable").code
    stage.config = changed(
        tmp_path / "files", SMALLEST, slackwater=('channel = "b"', 'channel = "c"')
    )
    told = stage.approve()
    assert ["pump/calcium"] == told.document["held"]
    (hold,) = [e for e in stage.events() if isinstance(e, HoldRaised)]
    assert Code.PUMP_CHANGED is hold.reason.code
    assert 1 == stage.run("release", hold.hold_id).code
    stage.commission("calcium")
    assert 0 == stage.run("release", hold.hold_id).code


@pytest.mark.parametrize(
    ("amount", "scopes"),
    [("39 mL", []), ("40 mL", ["pump/carbonate"]), ("35 mL", [])],
)
def test_clearly_more_begins_with_a_day_of_half_doses(
    tmp_path: Path, amount: str, scopes: list[str]
) -> None:
    """While live, beyond a tenth, that pump alone, from when the plan takes over."""
    stage = stage_of(tmp_path, with_amount(tmp_path / "a", "36 mL"))
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow()
    assert 0 == stage.run("enable").code
    plan = stage.config / "plan.toml"
    text = plan.read_text("utf-8").replace('group = "balanced"\n', "")
    head, _, calcium = text.split("# Both lines")[0].partition('id = "calcium"')
    head = head.replace('"36 mL"', f'"{amount}"', 1)
    plan.write_text(f'{head}id = "calcium"{calcium}', "utf-8")
    told = stage.approve(highest=f"{int(amount[:2]) + 36} mL")
    assert scopes == told.document["halved"]
    begun = list(stage.folded().halves.values())
    taken_over = stage.folded().approvals[-1].approval.takes_over_at
    assert [(scope, taken_over, 86_400.0) for scope in scopes] == [
        (one.scope, one.from_at, one.lasts_s) for one in begun
    ]


@pytest.mark.parametrize(
    ("percent", "scopes"),
    [(91, []), (90, ["pump/calcium"]), (110, []), (111, ["pump/calcium"])],
)
def test_a_calibration_that_moves_the_flow_begins_with_half_doses(
    tmp_path: Path, percent: int, scopes: list[str]
) -> None:
    """By more than a tenth up or down, against what was approved, that pump alone."""
    stage = stage_of(tmp_path)
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow()
    assert 0 == stage.run("enable").code
    known = stage.folded().calibrations["calcium"]
    rate = known.rate_nl_per_s * percent // 100
    cal = calibration_id("calcium", rate)
    stage.append(replace(known, **stage.stamp(), rate_nl_per_s=rate, cal=cal))
    told = stage.approve()
    assert scopes == told.document["halved"]
    assert scopes == list(stage.folded().halves)


def without_calcium(folder: Path) -> Path:
    """The smallest sample after its calcium pump was sold."""
    config = changed(folder, SMALLEST)
    for name, mark in (("slackwater", "pump.calcium]"), ("plan", "[line]]")):
        path = config / f"{name}.toml"
        parts = path.read_text("utf-8").split("\n[")
        kept = [
            part
            for part in parts
            if not (part.startswith(mark) and "calcium" in part)
            and not part.startswith("group.")
        ]
        text = "\n[".join(kept).replace('group = "balanced"\n', "")
        path.write_text(text, "utf-8")
    return config


def test_a_plan_that_the_new_machine_outgrew_does_not_stand(tmp_path: Path) -> None:
    """Without its pump the plan in force ends with the swap, or the swap waits."""
    stage = stage_of(tmp_path)
    stage.approve("--now")
    stage.config = without_calcium(tmp_path / "files")
    later = stage.approve(highest="36 mL")
    assert 1 == later.code
    assert "goes on until then" in later.errors[0]["what"]
    assert 0 == stage.approve("--now", highest="36 mL").code
    assert [2] == [known.approval.serial for known in stage.folded().approvals]


@pytest.mark.parametrize(
    "words",
    [
        ("--at", "tomorrow"),
        ("--at", "2020-01-01T00:00"),
        ("--at", "2126-01-01T00:00", "--now"),
        ("--at", "2126-13-01T00:00"),
    ],
)
def test_bad_times_approve_nothing(stage: Stage, words: tuple[str, ...]) -> None:
    """Exit code 2, one finding."""
    told = stage.approve(*words)
    assert (2, 1) == (told.code, len(told.errors))
    assert [] == approvals(stage)


def files_in(*zones: str) -> Files:
    """The two-tanks sample with these zones."""
    files = read_files(CONFIG / "two-tanks")
    tanks = {
        name: replace(tank, zone=zone)
        for (name, tank), zone in zip(
            sorted(files.machine.tanks.items()), zones, strict=True
        )
    }
    return replace(files, machine=replace(files.machine, tanks=tanks))


@pytest.mark.parametrize(
    ("zones", "now", "expected"),
    [
        # Both clock changes in Berlin, 2026: 29 March and 25 October (tz database).
        (("Europe/Berlin",) * 2, "2026-03-28T23:30", "2026-03-29T22:00"),
        (("Europe/Berlin",) * 2, "2026-10-24T22:30", "2026-10-25T23:00"),
        (("America/St_Johns",) * 2, "2026-03-08T12:00", "2026-03-09T02:30"),
        # The later of two midnights.
        (("Europe/Berlin", "America/St_Johns"), "2026-07-01T12:00", "2026-07-02T02:30"),
    ],
)
def test_next_midnight_is_that_of_the_zones(
    zones: tuple[str, str], now: str, expected: str
) -> None:
    """On days of 23 and 25 hours and with half-hour offsets as well."""
    moment, wanted = (
        datetime.fromisoformat(text).replace(tzinfo=UTC) for text in (now, expected)
    )
    assert wanted == next_midnight(files_in(*zones), moment)


def test_a_midnight_leaves_nothing_out(stage: Stage) -> None:
    """A swap at local midnight needs no margin, one inside the day does."""
    stage.approve("--now")
    from_ledger = stage.folded().approvals[-1]
    assert from_ledger.approval.left_out_until is None
    files = read_files(SMALLEST)
    utc = datetime(2026, 7, 1, 12, tzinfo=UTC)
    assert swap_for(files, None, utc, "").left_out_until is None
