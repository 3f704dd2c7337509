"""The table of hazards in DEVELOPERS.md: each row is tried, or says why it is not."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.rules import tree

HAZARDS = [f"H{number:02}" for number in range(1, 64)]
# C pump and node, E time, G sensors, H people.
NAMED_AFTER = [
    f"H{number}" for number in (*range(18, 29), *range(36, 42), *range(48, 60))
]
ROW = re.compile(r"^\| (H\d+) \|([^|]*)\|([^|]*)\|([^|]*)\|$", re.MULTILINE)
NAMED = re.compile(r"`(tests/[\w/]+\.py)::(test_\w+)(?:\[([^\]`]+)\])?`")
NUMBER = re.compile(r"(?<=_)h(\d\d)(?=_)")


class Hazard(NamedTuple):
    """One row of the table, cell by cell."""

    id: str
    hazard: str
    tests: str
    still_open: str


def table(text: str) -> list[Hazard]:
    """The rows in the order in which they stand."""
    return [Hazard(*map(str.strip, row)) for row in ROW.findall(text)]


def rows() -> list[Hazard]:
    """The rows of the guide."""
    return table((tree.TOP / "DEVELOPERS.md").read_text("utf-8"))


def faults(row: Hazard) -> Iterator[str]:
    """What is wrong with a row: no words, no such test, neither test nor reason."""
    if not row.hazard:
        yield "the hazard has no words"
    if rest := NAMED.sub("", row.tests).strip():
        yield f"no test is named like {rest}"
    if not row.tests and not row.still_open:
        yield "neither a test nor a reason"
    for path, function, case in NAMED.findall(row.tests):
        if function not in functions(path):
            yield f"no {function} in {path}"
        elif case and not has_case(tree.TOP / path, case):
            yield f"no case {case} in {path}"


@cache
def functions(path: str) -> frozenset[str]:
    """The test functions of a file; none where no file is."""
    file = tree.TOP / path
    if not file.is_file():
        return frozenset()
    body = ast.parse(file.read_text("utf-8")).body
    return frozenset(node.name for node in body if isinstance(node, ast.FunctionDef))


def has_case(file: Path, case: str) -> bool:
    """Whether a case is written in the file, or in a TOML file beside it.

    Beside it a case is a table of its name, a file of its name, or, after a colon, one
    that a file names.
    """
    if f'"{case}"' in file.read_text("utf-8"):
        return True
    stem, _, named = case.partition(": ")
    for beside in file.parent.glob("*.toml"):
        text = beside.read_text("utf-8")
        is_named = not named or f'named = "{named}"' in text
        if f"[{case}]" in text or (stem == beside.stem and is_named):
            return True
    return False


def numbered() -> dict[str, set[str]]:
    """Hazards that names of tests carry, with the tests."""
    found: dict[str, set[str]] = {}
    for path in tree.files():
        if path.parts[0] == "tests" and path.name.startswith("test_"):
            for function in functions(str(path)):
                for number in NUMBER.findall(function):
                    found.setdefault(f"H{number}", set()).add(f"{path}::{function}")
    return found


def test_each_hazard_has_one_row_in_order() -> None:
    """H01 to H63, none left out, none twice."""
    assert HAZARDS == [row.id for row in rows()]


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.id)
def test_each_row_names_tests_that_are_there_or_a_reason(row: Hazard) -> None:
    """Files, functions and cases exist; a row without any of them says why."""
    assert [] == list(faults(row))


@pytest.mark.parametrize("hazard", NAMED_AFTER)
def test_pumps_times_sensors_and_people_have_tests_of_their_number(hazard: str) -> None:
    """Sections C, E, G and H: a change to one of them finds its test by its name."""
    assert numbered().get(hazard)


def test_no_test_speaks_for_a_row_that_is_not_tried() -> None:
    """A test that carries a number has a row, and the row does not deny it."""
    tried = {row.id for row in rows() if row.tests}
    assert {} == {name: t for name, t in numbered().items() if name not in tried}


HERE = "tests/rules/test_hazards.py"
BUGS = "tests/bugs/test_bugs.py::test_a_planted_bug_turns_its_tests_red"
STORIES, OFF = "tests/stories/test_stories.py", "four_days_off"
TOLD = f"{STORIES}::test_a_story_ends_as_told"


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("| H01 | a | | |", "neither a test nor a reason"),
        ("| H01 | | | why |", "the hazard has no words"),
        ("| H01 | a | by hand | |", "no test is named like by hand"),
        (f"| H01 | a | `{HERE}::test_x` | |", f"no test_x in {HERE}"),
        ("| H01 | a | `tests/x.py::test_x` | |", "no test_x in tests/x.py"),
        (f"| H01 | a | `{BUGS}[x]` | |", "no case x in tests/bugs/test_bugs.py"),
        (f"| H01 | a | `{TOLD}[{OFF}: x]` | |", f"no case {OFF}: x in {STORIES}"),
    ],
)
def test_a_wrong_row_is_seen(line: str, fault: str) -> None:
    """Each way in which a row can be empty or stale."""
    (row,) = table(line)
    assert [fault] == list(faults(row))


def test_a_right_row_passes() -> None:
    """A reason alone is enough, and so is a case that a table beside the test has."""
    (reason,) = table("| H22 | a | | why |")
    (case,) = table(f"| H42 | a | `{BUGS}[nan-through-a-cap]` | |")
    assert [] == [*faults(reason), *faults(case)]
