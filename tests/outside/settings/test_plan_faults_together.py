"""Faults of one plan file that have nothing to do with each other, all in one run.

What is told of each alone is told of any two, and of all of them, and nothing else.
"""

from itertools import combinations
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_machine, read_plan
from tests.outside.settings.test_machine_faults_together import WHOLE as MACHINE

WHOLE = """
name = "spring"
starts = 2026-05-03

[[line]]
id = "soda"
tank = "reef"
solution = "carbonate"
per_day = "36 mL"
doses = 12
windows = ["20:00-08:00"]
group = "balanced"

[[line]]
id = "chloride"
tank = "reef"
solution = "calcium"
per_day = "36 mL"
doses = 9
windows = ["08:00-20:00"]
group = "balanced"

[[line]]
id = "salts"
tank = "reef"
solution = "mix"
per_day = "10 mL"
times = ["07:30", "19:30"]
weekdays = ["mon"]

[[line]]
id = "lift"
tank = "reef"
solution = "carbonate"
per_dose = "2 mL"
doses = 6
purpose = "correction"
last = 2026-05-20

[group.balanced]
ratio = { soda = "1", chloride = "1" }

[[exchange]]
id = "change"
pair = "water"
per_day = "3 L"
portion = "150 mL"
window = "10:00-18:00"
every_days = 3
"""
LINES = ('[[line]] 1 ("soda")', '[[line]] 2 ("chloride")', '[[line]] 3 ("salts")')
SODA, CHLORIDE, SALTS = LINES

# What stands in the file, what stands there instead, and where it is told.
FAULTS = (
    ('name = "spring"', "name = 5", "name"),
    ('per_day = "36 mL"\ndoses = 12', 'per_day = "36"\ndoses = 12', f"{SODA} per_day"),
    ("doses = 12", "doses = 0", f"{SODA} doses"),
    ('"20:00-08:00"', '"20:00-08:00", "07:00-09:00"', f"{SODA} windows"),
    ('tank = "reef"', 'tank = "lagoon"', f"{SODA} tank"),
    ('solution = "carbonate"', 'solution = "kalk"', f"{SODA} solution"),
    ("doses = 9", 'doses = 9\npump = "mix"', f"{CHLORIDE} pump"),
    ('"08:00-20:00"', '"8am-8pm"', f"{CHLORIDE} windows"),
    ('"19:30"', '"07:30"', f"{SALTS} times"),
    ('["mon"]', '["mon", "mon"]', f"{SALTS} weekdays"),
    ('per_day = "10 mL"', 'per_day = "10 mL"\nper_dose = "5 mL"', f"{SALTS} per_day"),
    ('solution = "mix"', 'solution = "mix"\ncolour = "red"', f"{SALTS} colour"),
    ("last = 2026-05-20", "", '[[line]] 4 ("lift") last'),
    ('per_dose = "2 mL"', 'per_dose = "2"', '[[line]] 4 ("lift") per_dose'),
    ('chloride = "1"', 'chloride = "x"', "[group.balanced] ratio.chloride"),
    ('pair = "water"', 'pair = "wine"', "[[exchange]] 1 pair"),
    ('portion = "150 mL"', 'portion = "150"', "[[exchange]] 1 portion"),
    ('"10:00-18:00"', '"20:00-04:00"', "[[exchange]] 1 window"),
    ("every_days = 3", 'every_days = 3\nweekdays = ["mon"]', "[[exchange]] 1 weekdays"),
)
# The ids of two lines, and what a ratio says, are judged by the lines it names.
OTHERS = (
    ('id = "lift"', 'id = "salts"', 'the id "salts" stands on 2 lines'),
    ('soda = "1"', 'soda = "2"', "amounts as"),
    ('group = "balanced"', 'group = "balance"', 'there is no group "balance"'),
    ('soda = "1", ', 'soda = "1", lift = "2", ', "the ratio names"),
)
# What the ratio is compared with cannot be read; a stray key may be a group.
HIDDEN = {(f"{SODA} per_day", "amounts as"), (f"{SALTS} colour", "the ratio names")}


def told(directory: Path, *faults: tuple[str, str, str]) -> list[str]:
    """Everything that is said of the plan with these faults in it."""
    text = WHOLE
    for old, new, _ in faults:
        assert 1 <= text.count(old), old
        text = text.replace(old, new, 1)
    (directory / "slackwater.toml").write_text(MACHINE, "utf-8")
    (directory / "plan.toml").write_text(text, "utf-8")
    try:
        read_plan(directory, read_machine(directory))
    except InputError as error:
        return [str(finding) for finding in error.findings]
    return []


def test_the_plan_without_them_is_sound(tmp_path: Path) -> None:
    """Or what follows would say nothing."""
    assert [] == told(tmp_path)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault[2])
def test_one_fault_is_told_once(tmp_path: Path, fault: tuple[str, str, str]) -> None:
    """By its own place, and no other place is blamed for it."""
    (finding,) = told(tmp_path, fault)
    assert f"plan.toml {fault[2]}" in finding


def test_what_a_group_lacks_is_told_once(tmp_path: Path) -> None:
    """A line that names no group there is may be meant for any."""
    for fault in OTHERS[1:]:
        (finding,) = told(tmp_path, fault)
        assert fault[2] in finding


def test_a_group_whose_id_cannot_be_used_is_told_once(tmp_path: Path) -> None:
    """Not at each of its lines: which group they mean is not known."""
    (finding,) = told(tmp_path, ("[group.balanced]", "[group.Balanced]", ""))
    assert '[group."Balanced"]' in finding


@pytest.mark.parametrize("other", OTHERS, ids=lambda other: other[2])
def test_a_fault_between_lines_is_told_beside_those_of_single_ones(
    tmp_path: Path, other: tuple[str, str, str]
) -> None:
    """What only another fault hides stays out."""
    for fault in FAULTS[:-5]:
        is_told = any(other[2] in one for one in told(tmp_path, fault, other))
        assert is_told != ((fault[2], other[2]) in HIDDEN), fault[2]


def test_any_two_faults_are_told_together(tmp_path: Path) -> None:
    """Neither hides the other, and nothing is said that only follows from both."""
    alone = {fault: set(told(tmp_path, fault)) for fault in FAULTS}
    wrong = [
        (one[2], other[2], found ^ (alone[one] | alone[other]))
        for one, other in combinations(FAULTS, 2)
        if (found := set(told(tmp_path, one, other))) != alone[one] | alone[other]
    ]
    assert [] == wrong


def test_all_faults_are_told_in_one_run(tmp_path: Path) -> None:
    """A person mends the file once, and not a fault at a time."""
    expected = {one for fault in FAULTS for one in told(tmp_path, fault)}
    assert expected == set(told(tmp_path, *FAULTS))


def test_a_line_named_as_half_an_exchange_is_told_beside_other_faults(
    tmp_path: Path,
) -> None:
    """The two would share their doses, whatever else is wrong in the file."""
    half = ('id = "lift"', 'id = "change-in"', "stands on two lines")
    for fault in (FAULTS[0], FAULTS[9]):
        assert [one for one in told(tmp_path, half, fault) if half[2] in one]
