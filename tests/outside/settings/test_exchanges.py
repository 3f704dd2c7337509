"""Pairs of pumps and exchanges of a plan, as the two files say them."""

from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.facts.exchanges import Exchange
from slackwater.facts.plan import Window
from slackwater.outside.settings import read_machine, read_plan
from slackwater.planning.ceilings import check

SAMPLE = Path(__file__).resolve().parents[3] / "config" / "exchange"
MACHINE = (SAMPLE / "slackwater.toml").read_text("utf-8")
PLAN = (SAMPLE / "plan.toml").read_text("utf-8")


def files(where: Path, machine: str = MACHINE, plan: str = PLAN) -> Path:
    """A directory with both files."""
    (where / "slackwater.toml").write_text(machine, "utf-8")
    (where / "plan.toml").write_text(plan, "utf-8")
    return where


def refused(where: Path, machine: str = MACHINE, plan: str = PLAN) -> str:
    """What is said of files that are refused."""
    directory = files(where, machine, plan)
    with pytest.raises(InputError) as caught:
        read_plan(directory, read_machine(directory))
    return str(caught.value)


def test_an_exchange_is_two_lines_that_agree(tmp_path: Path) -> None:
    """3 L in portions of at most 150 mL are 20 of them, out and in."""
    directory = files(tmp_path)
    machine = read_machine(directory)
    pair = Exchange(
        id="water", tank="reef", drain="water-out", fill="water-in", settle_s=60.0
    )
    assert {"water": pair} == machine.exchanges
    out, back = read_plan(directory, machine).lines
    assert ("daily-change-out", "water-out", "tank-water") == (
        out.id,
        out.pump,
        out.solution,
    )
    assert ("daily-change-in", "water-in", "new-water") == (
        back.id,
        back.pump,
        back.solution,
    )
    for line in (out, back):
        assert (3_000_000, 20) == (line.per_day_ul, line.count)
        assert (Window(start_minute=600, end_minute=1080),) == line.windows


def test_portions_are_never_larger_than_asked_for(tmp_path: Path) -> None:
    """3 L and portions of 140 mL: 22 of them, the largest 136.4 mL."""
    directory = files(tmp_path, plan=PLAN.replace("150 mL", "140 mL"))
    out, _ = read_plan(directory, read_machine(directory)).lines
    assert 22 == out.count


def test_an_exchange_stands_beside_lines(tmp_path: Path) -> None:
    """What else is dosed comes first, as the file tells it."""
    machine = (
        MACHINE.replace(
            "[reservoir.waste]",
            "[solution.trace]\nno_effects = true\nfully_declared = true\n\n"
            '[reservoir.trace]\ncontent = "1 L"\n\n[reservoir.waste]',
        )
        + '\n[pump.trace]\ntank = "reef"\nnode = "shelf"\nchannel = "c"\n'
        'solution = "trace"\nreservoir = "trace"\nrate = "30 mL/min"\n'
        'smallest_dose = "0.5 mL"\nmost_per_dose = "4 mL"\nmost_per_day = "20 mL"\n'
    )
    plan = (
        PLAN + '\n[[line]]\nid = "trace"\ntank = "reef"\nsolution = "trace"\n'
        'per_day = "8 mL"\ndoses = 4\n'
    )
    directory = files(tmp_path, machine, plan)
    known = read_machine(directory)
    found = read_plan(directory, known)
    assert ["trace", "daily-change-out", "daily-change-in"] == [
        line.id for line in found.lines
    ]
    assert [] == check(found, known)


DOSED = (
    'per_ml = { calcium = "0.1 mg/L per mL in 100 L" }\nfully_declared = true\n\n'
    "[solution.new-water]"
)
MACHINE_MISTAKES = [
    ('drain = "water-out"', 'drain = "water-off"', 'there is no pump "water-off"'),
    ('drain = "water-out"', 'drain = "water-in"', "is named twice in exchanges"),
    (
        "no_effects = true\nfully_declared = true\n\n[solution.new-water]",
        DOSED,
        "which is dosed or kept apart",
    ),
    ("fully_declared = true", "fully_declared = false", "dosed or kept apart"),
    ('settle = "1 min"', 'settle = "1 h"', "outside the bounds"),
    ('fill = "water-in"', 'fills = "water-in"', "nobody reads the key"),
]


@pytest.mark.parametrize(("text", "spoiled", "expected"), MACHINE_MISTAKES)
def test_a_pair_that_cannot_be_balanced_is_refused(
    tmp_path: Path, text: str, spoiled: str, expected: str
) -> None:
    """Each mistake is told with its table and key, and nothing is half applied."""
    assert expected in refused(tmp_path, MACHINE.replace(text, spoiled, 1))


def test_a_pump_behind_a_plain_relay_is_no_half(tmp_path: Path) -> None:
    """Nobody would see what it drained."""
    relay = (
        '\n[relay.shelf]\non_topic = "cellar/plug/do"\non_payload = "on {ms}"\n'
        'off_topic = "cellar/plug/do"\noff_payload = "off"\n'
        'state_topic = "cellar/plug/is"\non = ["on"]\noff = ["off"]\n'
    )
    assert "behind a plain relay" in refused(tmp_path, MACHINE + relay)


PLAN_MISTAKES = [
    ('pair = "water"', 'pair = "wine"', 'there is no pair "wine"'),
    ('"10:00-18:00"', '"22:00-02:00"', "goes over midnight"),
    ('portion = "150 mL"', 'portion = "150"', "unit"),
    ('id = "daily-change"', f'id = "{"d" * 29}"', "28"),
    (
        'window = "10:00-18:00"',
        'window = "10:00-18:00"\nweekdays = ["mon"]\nevery_days = 2',
        "weekdays and every_days are both given",
    ),
    (
        'window = "10:00-18:00"',
        'window = "10:00-18:00"\nfirst = 2026-05-10\nlast = 2026-05-09',
        "is before the first",
    ),
    ("[[exchange]]", "[exchange]", "tables headed [[exchange]]"),
]


@pytest.mark.parametrize(("text", "spoiled", "expected"), PLAN_MISTAKES)
def test_an_exchange_that_says_two_things_is_refused(
    tmp_path: Path, text: str, spoiled: str, expected: str
) -> None:
    """One meaning, or none."""
    assert expected in refused(tmp_path, plan=PLAN.replace(text, spoiled, 1))


def test_the_same_exchange_twice_is_refused(tmp_path: Path) -> None:
    """It would be given twice."""
    again = PLAN[PLAN.index("[[exchange]]") :]
    assert "stands on two lines" in refused(tmp_path, plan=f"{PLAN}\n{again}")


def test_half_an_exchange_written_as_a_line_is_refused(tmp_path: Path) -> None:
    """A drain by itself, or a fill, is found when the plan is checked."""
    plan = PLAN[: PLAN.index("[[exchange]]")] + (
        '[[line]]\nid = "rinse"\ntank = "reef"\nsolution = "tank-water"\n'
        'per_day = "1 L"\ndoses = 10\nwindows = ["10:00-18:00"]\n'
    )
    directory = files(tmp_path, plan=plan)
    machine = read_machine(directory)
    found = check(read_plan(directory, machine), machine)
    assert ["half of the exchange" in one.what for one in found] == [True]


def test_portions_and_their_pace_are_checked(tmp_path: Path) -> None:
    """More than a thousandth of the water at once, and no time to come to rest."""
    big = PLAN.replace("150 mL", "310 mL").replace("3 L", "3.1 L")
    quick = PLAN.replace("10:00-18:00", "10:00-11:00")
    for plan, expected in ((big, "a portion of"), (quick, "20 portions in 3600 s")):
        directory = files(tmp_path, plan=plan)
        machine = read_machine(directory)
        found = [one.what for one in check(read_plan(directory, machine), machine)]
        assert any(what.startswith(expected) for what in found)
