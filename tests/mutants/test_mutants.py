"""The tool that tries small changes: it finds them, and puts them where they count."""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from tests.mutants.catalogue import AREAS, changed, equivalents, mutants_of, told
from tests.mutants.grafting import Graft, living_functions
from tests.mutants.operators import sites

NAME = "tests.invented"
SOURCE = '''
"""An invented module."""
from dataclasses import dataclass
LIMIT = 3
TWICE = LIMIT * 2
@dataclass(frozen=True, kw_only=True)
class Tub:
    litres: int = 5
    empties: object = None
    @property
    def is_full(self) -> bool:
        return self.litres > LIMIT
def poured(litres: int, more: int = 1) -> int:
    if litres < -0.5 or more is None:
        raise ValueError(litres)
    return min(litres + more, TWICE)
def above(limit: int):
    def is_above(litres: int) -> bool:
        return litres > limit
    return is_above
RULES = (("some", above(3)),)
def standing(rests: int = 9) -> Tub:
    return Tub(empties=None if rests else min)
STAND = standing()
'''


@pytest.fixture
def module() -> Iterator[ModuleType]:
    """A module of a few lines, loaded."""
    made = ModuleType(NAME)
    made.__file__ = f"{NAME}.py"
    sys.modules[NAME] = made
    exec(compile(SOURCE, made.__file__, "exec"), vars(made))  # noqa: S102  # above
    yield made
    del sys.modules[NAME]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("3", "4"),
        ("3", "2"),
        ("LIMIT * 2", "LIMIT / 2"),
        ("self.litres > LIMIT", "self.litres >= LIMIT"),
        ("return self.litres > LIMIT", "return None"),
        ("litres < -0.5 or more is None", "litres < -0.5 and more is None"),
        ("litres < -0.5 or more is None", "not (litres < -0.5 or more is None)"),
        ("more is None", "more is not None"),
        ("raise ValueError(litres)", "pass"),
        ("min", "max"),
        ("litres + more", "litres - more"),
    ],
)
def test_every_kind_of_change_is_tried(old: str, new: str) -> None:
    """Border, sign, word, number, statement: each is among the changes of a module."""
    found = [(told(site.old), told(site.new)) for site in sites(ast.parse(SOURCE))]
    assert (old, new) in found


@pytest.mark.parametrize("text", ["frozen", "'", "True"])
def test_what_is_no_behaviour_is_left_alone(text: str) -> None:
    """Texts and decorators stay as they are."""
    assert [] == [
        told(site.old) for site in sites(ast.parse(SOURCE)) if text in told(site.old)
    ]


@pytest.mark.parametrize(
    ("old", "new", "question", "answer"),
    [
        ("litres + more", "litres - more", "poured(4)", 3),
        ("min", "max", "poured(4)", 6),
        ("1", "2", "poured(1)", 3),
        ("3", "4", "TWICE", 8),
        ("5", "6", "Tub().litres", 6),
        ("self.litres > LIMIT", "self.litres <= LIMIT", "tub.is_full", False),
        ("litres > limit", "litres <= limit", "rule(5)", False),
        ("return is_above", "return None", "RULES[0][1]", None),
        ("rests", "not rests", "stand.empties", min),
    ],
)
def test_a_change_reaches_whoever_holds_the_module(
    module: ModuleType, old: str, new: str, question: str, answer: object
) -> None:
    """Functions, defaults, numbers made of numbers, and objects made before it."""
    tree = ast.parse(SOURCE)
    site = next(
        one for one in sites(tree) if (old, new) == (told(one.old), told(one.new))
    )
    names = vars(module)
    held = {
        **names,
        "tub": names["Tub"](),
        "rule": names["RULES"][0][1],
        "stand": names["STAND"],
    }
    for _ in range(99):
        # What has run often is known again.
        assert (5, 6) == (names["poured"](4), names["poured"](9))
    path = Path(f"{NAME}.py")
    codes = compile(tree, str(path), "exec"), changed(tree, site, path)
    assert Graft(module, codes, living_functions()).done
    assert answer == eval(question, {**held, **rebound(module)})  # noqa: S307  # above


def rebound(module: ModuleType) -> dict[str, object]:
    """What is no function, and so is found by its name alone."""
    return {
        key: one for key, one in vars(module).items() if isinstance(one, int | tuple)
    }


def test_a_tree_is_as_it_was_after_every_change() -> None:
    """Else the next change would be of another module than the one that is loaded."""
    tree = ast.parse(SOURCE)
    for site in sites(tree):
        changed(tree, site, Path(f"{NAME}.py"))
    parts = ast.dump(tree, include_attributes=True)
    assert parts == ast.dump(ast.parse(SOURCE), include_attributes=True)


def test_the_same_module_changes_nothing(module: ModuleType) -> None:
    """A tree compiled as it is leaves nothing to replace."""
    code = compile(ast.parse(SOURCE), f"{NAME}.py", "exec")
    assert [] == Graft(module, (code, code), living_functions()).done


def test_every_mutant_called_the_same_program_still_exists() -> None:
    """A reason goes with the code it is about."""
    names = {mutant.name for area in AREAS for mutant in mutants_of(area)}
    assert set() == set(equivalents()) - names
