"""Reading `plan.toml` (hazards H42 to H45)."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.facts.plan import Group, PlanLine, Window
from slackwater.outside.settings import read_plan
from tests.outside.settings.machines import small_machine, write_plan

HEAD = 'name = "spring"\nstarts = 2026-05-03\n'
LINE = """
[[line]]
id = "carbonate"
tank = "reef"
solution = "carbonate"
per_day = "42 mL"
doses = 24
"""


def first_line(directory: Path, text: str) -> PlanLine:
    """The first line of a plan."""
    return read_plan(write_plan(directory, text), small_machine()).lines[0]


def findings_of(directory: Path, text: str) -> list[str]:
    """Everything that is wrong with a plan, one text each."""
    with pytest.raises(InputError) as caught:
        read_plan(write_plan(directory, text), small_machine())
    return [str(finding) for finding in caught.value.findings]


def test_resolves_what_the_shortest_line_leaves_open(tmp_path: Path) -> None:
    """Pump, window, days and purpose have one meaning when they are left out."""
    expected = PlanLine(
        id="carbonate",
        tank="reef",
        solution="carbonate",
        pump="carbonate",
        per_day_ul=42_000,
        count=24,
        windows=(Window(start_minute=0, end_minute=1440),),
    )
    assert expected == first_line(tmp_path, HEAD + LINE)


def test_reads_name_and_start(tmp_path: Path) -> None:
    """The head of the file becomes the plan's name and anchor."""
    plan = read_plan(write_plan(tmp_path, HEAD + LINE), small_machine())
    assert ("spring", date(2026, 5, 3)) == (plan.name, plan.starts)


def test_multiplies_an_amount_per_dose(tmp_path: Path) -> None:
    """per_dose times doses is the total of the day."""
    text = HEAD + LINE.replace('per_day = "42 mL"', 'per_dose = "1.5 mL"')
    assert first_line(tmp_path, text).per_day_ul == 36_000


def test_splits_a_window_over_midnight(tmp_path: Path) -> None:
    """A stretch over midnight becomes the day's late and early hours."""
    text = HEAD + LINE + 'windows = ["22:00-06:30"]\n'
    expected = (
        Window(start_minute=0, end_minute=390),
        Window(start_minute=1320, end_minute=1440),
    )
    assert expected == first_line(tmp_path, text).windows


def test_keeps_a_window_that_ends_at_midnight_whole(tmp_path: Path) -> None:
    """Both ways of writing the last midnight mean the same."""
    one = first_line(tmp_path, HEAD + LINE + 'windows = ["20:00-24:00"]\n')
    other = first_line(tmp_path, HEAD + LINE + 'windows = ["20:00-00:00"]\n')
    assert (Window(start_minute=1200, end_minute=1440),) == one.windows
    assert one.windows == other.windows


def test_counts_explicit_times(tmp_path: Path) -> None:
    """Explicit times are sorted, counted, and leave no window."""
    text = HEAD + LINE.replace("doses = 24", 'times = ["19:30", "07:30"]')
    line = first_line(tmp_path, text)
    assert (line.times_minute, line.count, line.windows) == ((450, 1170), 2, ())


def test_reads_days_and_purpose(tmp_path: Path) -> None:
    """Weekdays, first and last day, purpose and note arrive as written."""
    text = (
        HEAD
        + LINE
        + (
            'weekdays = ["mon", "thu"]\nfirst = 2026-05-10\nlast = 2026-05-20\n'
            'purpose = "correction"\nnote = "after the test"\n'
        )
    )
    line = first_line(tmp_path, text)
    assert (("mon", "thu"), date(2026, 5, 10), date(2026, 5, 20)) == (
        line.weekdays,
        line.first_day,
        line.last_day,
    )
    assert (line.purpose, line.note) == ("correction", "after the test")


def test_turns_a_ratio_into_whole_numbers(tmp_path: Path) -> None:
    """Shares with decimals become the smallest whole numbers in that ratio."""
    second = LINE.replace("carbonate", "calcium").replace("42 mL", "63 mL")
    text = (
        HEAD
        + f'{LINE}group = "pair"\n{second}group = "pair"\n'
        + '[group.pair]\nratio = { carbonate = "1", calcium = "1.5" }\n'
    )
    plan = read_plan(write_plan(tmp_path, text), small_machine())
    expected = {"pair": Group(id="pair", ratio={"calcium": 3, "carbonate": 2})}
    assert expected == plan.groups


BAD_LINES = [
    ("doses = 24", "", '[[line]] 1 ("carbonate") doses: the key is missing'),
    ("doses = 24", "doses = 0", "doses: found 0"),
    ("doses = 24", "doses = 289", "doses: found 289"),
    ("doses = 24", 'doses = "24"', 'doses: found "24"; expected a whole number'),
    ("doses = 24", "doses = 24.0", "doses: found 24.0; expected a whole number"),
    ("doses = 24", "doses = true", "doses: found true; expected a whole number"),
    ("doses = 24", 'doses = 24\ntimes = ["08:00"]', "doses and times are both given"),
    ('"42 mL"', "42", "per_day: found 42 without a unit"),
    ('"42 mL"', '"42"', 'per_day: "42" has no unit'),
    ('"42 mL"', '"42 ML"', 'per_day: "42 ML" has the unknown unit "ML"'),
    ('"42 mL"', '"42 Ml"', 'per_day: "42 Ml" has the unknown unit "Ml"'),
    ('"42 mL"', '"42 mL/day"', 'has the unknown unit "mL/day"'),
    ('"42 mL"', '"42 g"', 'has the unknown unit "g"'),
    ('"42 mL"', '"nan mL"', '"nan mL" does not begin with a plain number'),
    ('"42 mL"', '"inf mL"', '"inf mL" does not begin with a plain number'),
    ('"42 mL"', '"1e400 mL"', '"1e400 mL" does not begin with a plain number'),
    ('"42 mL"', '"-42 mL"', '"-42 mL" is outside the bounds'),
    ('"42 mL"', '"0 mL"', '"0 mL" is outside the bounds'),
    ('"42 mL"', '"42000 L"', '"42000 L" is outside the bounds'),
    ('"42 mL"', '"42,5 mL"', '"42,5 mL" does not begin with a plain number'),
    ('"42 mL"', "nan", "per_day: found nan without a unit"),
    ('"42 mL"', '"20 uL"', "20 µL cannot be split into 24 doses"),
    ('per_day = "42 mL"', "", "per_day: no amount is given"),
    ('per_day = "42 mL"', 'per_day = "4 mL"\nper_dose = "1 mL"', "are both given"),
    ('tank = "reef"', 'tank = "reaf"', 'there is no tank "reaf" in slackwater.toml'),
    ('tank = "reef"', "", "tank: the key is missing"),
    ('tank = "reef"', 'tank = "Reef!"', 'tank: found "Reef!"'),
    ('solution = "carbonate"', 'solution = "carbonat"', 'Did you mean "carbonate"?'),
    ('solution = "carbonate"', "", "solution: the key is missing"),
    ('id = "carbonate"', "", "[[line]] 1 id: the key is missing"),
    ("doses = 24", 'doses = 24\npump = "calcium"', "calcium does not give carbonate"),
    ("doses = 24", 'doses = 24\npump = "calci"', 'there is no pump "calci"'),
    ("doses = 24", "doses = 24\ndose = 3", 'nobody reads the key "dose"'),
    ("doses = 24", 'doses = 24\nwindows = ["8:00-20:00"]', 'found "8:00-20:00"'),
    ("doses = 24", 'doses = 24\nwindows = ["08:00"]', 'windows.0: found "08:00"'),
    ("doses = 24", 'doses = 24\nwindows = ["08:00-08:00"]', "two different local"),
    ("doses = 24", 'doses = 24\nwindows = ["24:00-08:00"]', 'found "24:00-08:00"'),
    ("doses = 24", 'doses = 24\nwindows = ["25:00-26:00"]', 'found "25:00-26:00"'),
    ("doses = 24", "doses = 24\nwindows = []", "windows: found an empty list"),
    ("doses = 24", 'doses = 24\nwindows = "08:00-20:00"', "expected a list in [bra"),
    (
        "doses = 24",
        'doses = 24\nwindows = ["08:00-12:00", "11:00-13:00"]',
        "two windows overlap",
    ),
    ("doses = 24", 'times = ["24:00"]', 'times.0: found "24:00"'),
    ("doses = 24", "times = [08:00:00]", "times.0: found 08:00:00"),
    ("doses = 24", 'times = ["08:00", "08:00"]', "an entry stands there twice"),
    (
        "doses = 24",
        'times = ["08:00"]\nwindows = ["08:00-09:00"]',
        "windows and times are both given",
    ),
    ("doses = 24", 'doses = 24\nweekdays = ["monday"]', 'weekdays.0: found "monday"'),
    ("doses = 24", 'doses = 24\nweekdays = ["mon", "mon"]', "stands there twice"),
    ("doses = 24", "doses = 24\nevery_days = 0", "every_days: found 0"),
    (
        "doses = 24",
        'doses = 24\nevery_days = 2\nweekdays = ["mon"]',
        "weekdays and every_days are both given",
    ),
    ("doses = 24", 'doses = 24\nlast = "2026-05-20"', "a date like 2026-05-03"),
    ("doses = 24", "doses = 24\nlast = 2026-05-20T08:00:00", "a date like 2026-05-03"),
    ("doses = 24", "doses = 24\nlast = 2026-05-02", "is before the first, 2026-05-03"),
    ("doses = 24", 'doses = 24\npurpose = "repair"', 'purpose: found "repair"'),
    (
        "doses = 24",
        'doses = 24\npurpose = "correction"',
        "a correction has no last day",
    ),
    (
        "doses = 24",
        'doses = 24\npurpose = "correction"\nlast = 2026-07-02',
        "the correction lasts 61 days",
    ),
    ("doses = 24", 'doses = 24\ngroup = "pair"', 'there is no group "pair"'),
    ("doses = 24", 'doses = 24\nnote = "a\\nb"', "expected one line of text"),
    ("[[line]]", "[line]", "found a table"),
]


@pytest.mark.parametrize(("found", "written", "expected"), BAD_LINES)
def test_refuses_a_bad_line(
    tmp_path: Path, found: str, written: str, expected: str
) -> None:
    """One slip in a good line is told with file, place, finding and expectation."""
    assert found in LINE
    findings = findings_of(tmp_path, HEAD + LINE.replace(found, written))
    assert findings[0].startswith("plan.toml ")
    assert expected in findings[0]


BAD_HEADS = [
    ("starts = 2026-05-03\n" + LINE, "plan.toml name: the key is missing"),
    ('name = "spring"\n' + LINE, "plan.toml starts: the key is missing"),
    (HEAD, "[[line]]: there is no dose line"),
    (HEAD.replace("2026-05-03", '"2026-05-03"') + LINE, "starts: found"),
    (HEAD.replace("2026", "9999") + LINE, "starts: found 9999-05-03"),
    (HEAD.replace("2026", "0001") + LINE, "starts: found 0001-05-03"),
    (HEAD + LINE + "\nfirst = 9999-12-31\n", "first: found 9999-12-31"),
    (HEAD.replace("2026-05-03", "2026-05-03T00:00:00Z") + LINE, "starts: found"),
    (HEAD + 'start = "now"\n' + LINE, 'Did you mean "starts"?'),
    (HEAD + LINE + LINE, 'the id "carbonate" stands on 2 lines'),
    (HEAD + LINE + "doses = 12\n", "a key or table stands there twice"),
    (HEAD + HEAD + LINE, "a key or table stands there twice"),
    (HEAD + LINE + "per_dose = 5 mL\n", "the text is not TOML"),
    (HEAD + LINE + "[group.pair]\n", "[group.pair] ratio: the key is missing"),
    (
        HEAD + LINE + "[group.pair]\nratio = { carbonate = 1 }\n",
        "ratio.carbonate: found 1",
    ),
    (
        HEAD + LINE + '[group.pair]\nratio = { carbonate = "0" }\n',
        'ratio.carbonate: found "0"',
    ),
    (
        HEAD + LINE + 'group = "pair"\n[group.pair]\nratio = { carbonate = "1" }\n',
        "expected at least two lines, the same in both",
    ),
    (
        HEAD
        + LINE
        + 'group = "pair"\n'
        + LINE.replace("carbonate", "calcium").replace("42", "43")
        + 'group = "pair"\n'
        + '[group.pair]\nratio = { carbonate = "1", calcium = "1" }\n',
        "carbonate gets 42 mL a day and calcium 43 mL",
    ),
    (
        HEAD
        + LINE
        + 'group = "pair"\n'
        + LINE.replace("reef", "frags")
        + 'group = "pair"\n'
        + '[group.pair]\nratio = { carbonate = "1" }\n',
        "the lines belong to different tanks",
    ),
]


@pytest.mark.parametrize(("text", "expected"), BAD_HEADS)
def test_refuses_a_bad_file(tmp_path: Path, text: str, expected: str) -> None:
    """What is wrong around the lines is told the same way."""
    assert expected in findings_of(tmp_path, text)[0]


def test_tells_everything_at_once(tmp_path: Path) -> None:
    """Three slips in three places give three findings, none hides another."""
    text = (
        HEAD.replace("2026-05-03", '"soon"')
        + LINE.replace("42 mL", "42 ML")
        + LINE.replace('tank = "reef"', 'tank = "reaf"')
    )
    places = [finding.split(":")[0] for finding in findings_of(tmp_path, text)]
    expected = [
        "plan.toml starts",
        'plan.toml [[line]] 1 ("carbonate") per_day',
        'plan.toml [[line]] 2 ("carbonate") tank',
    ]
    assert expected == places


def test_wants_a_pump_named_when_several_fit(tmp_path: Path) -> None:
    """Two pumps with one solution on one tank are told apart by the line."""
    machine = small_machine()
    twin = replace(machine.pumps["carbonate"], id="twin")
    machine = replace(machine, pumps={**machine.pumps, "twin": twin})
    with pytest.raises(InputError) as caught:
        read_plan(write_plan(tmp_path, HEAD + LINE), machine)
    assert (
        caught.value.findings[0].what
    ) == "several pumps give carbonate to reef: carbonate, twin"


def test_ignores_order_comments_and_spelling_of_units(tmp_path: Path) -> None:
    """Two files that mean the same give the same plan."""
    written = HEAD + LINE
    rewritten = (
        'starts = 2026-05-03 # a Sunday\nname = "spring"\n[[line]]\ndoses = 24\n'
        'per_day = "42000 uL"\nsolution = "carbonate"\ntank = "reef"\n'
        'id = "carbonate"\n'
    )
    one = read_plan(write_plan(tmp_path, written), small_machine())
    other = read_plan(write_plan(tmp_path, rewritten), small_machine())
    assert one == other


def test_a_refused_line_does_not_make_its_group_look_wrong(tmp_path: Path) -> None:
    """One cause, one error: an id with a capital letter."""
    second = LINE.replace("carbonate", "calcium")
    first = LINE.replace('id = "carbonate"', 'id = "Carbonate"')
    pair = f'{first}group = "pair"\n{second}group = "pair"\n[group.pair]\n'
    ratio = 'ratio = { carbonate = "1", calcium = "1" }\n'
    (told,) = findings_of(tmp_path, HEAD + pair + ratio)
    assert '"Carbonate"' in told


@pytest.mark.parametrize("named", ['["carbonate"]', "{}", "7", "true", "2026-05-03"])
def test_an_id_that_is_no_text_is_one_error_beside_a_group(
    tmp_path: Path, named: str
) -> None:
    """Found by ten million mutated inputs: a list in its place ended the program."""
    odd = LINE.replace('id = "carbonate"', f"id = {named}")
    second = LINE.replace("carbonate", "calcium")
    pair = f'{odd}{LINE}group = "pair"\n{second}group = "pair"\n[group.pair]\n'
    ratio = 'ratio = { carbonate = "1", calcium = "1" }\n'
    (told,) = findings_of(tmp_path, HEAD + pair + ratio)
    assert "id" in told
