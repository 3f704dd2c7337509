"""What DEVELOPERS.md says of the tree is true of the tree."""

import re
from typing import get_args

from slackwater.facts import doses
from slackwater.facts.events import AnyEvent
from tests.rules import tree

GUIDE = (tree.TOP / "DEVELOPERS.md").read_text("utf-8")
PACKAGE = tree.TOP / "daemon" / "slackwater"
FLOOR = re.compile(r"^\| (\d) \| `([^`]+)` \|", re.MULTILINE)
PLACE = re.compile(r"`([\w.-]+(?:/[\w.-]*)*(?:/|\.(?:py|md|csv|txt)))`")
PROGRAM = re.compile(r"python -m (tests(?:\.\w+)+)")


def test_each_room_stands_on_its_floor() -> None:
    """The table has every room of the contract, and no other."""
    floors = {room: n for room, n in tree.floors().items() if room != "__main__"}
    told = {
        place.split("/")[0].removesuffix(".py"): int(floor)
        for floor, place in FLOOR.findall(GUIDE)
    }
    assert floors == told


def test_each_place_is_there() -> None:
    """Files and folders, from the top of the tree or from the package."""
    places = set(PLACE.findall(GUIDE))
    assert len(places) > 50
    assert [] == sorted(
        place
        for place in places
        if not (tree.TOP / place).exists() and not (PACKAGE / place).exists()
    )


def test_each_folder_of_the_package_is_told() -> None:
    """A room's own rooms are told as well."""
    told = {place.strip("/") for _, place in FLOOR.findall(GUIDE)}
    folders = {
        str(path.parent.relative_to(PACKAGE)) for path in PACKAGE.rglob("__init__.py")
    }
    assert set() == folders - told - {"."}


def test_each_entry_of_a_dose_is_in_its_life() -> None:
    """The diagram, its table and its words leave no kind of entry out."""
    kinds = {
        kind.__dataclass_fields__["kind"].default
        for kind in get_args(AnyEvent)
        if kind.__module__ == doses.__name__
    }
    assert set() == {kind for kind in kinds if kind not in GUIDE}


def test_each_program_of_the_tests_is_told_and_there() -> None:
    """What is started with `python -m` is a module; every bench is among them."""
    modules = set(PROGRAM.findall(GUIDE))
    places = {_started(module.replace(".", "/")) for module in modules}
    assert [] == sorted(place for place in places if not (tree.TOP / place).is_file())
    benches = {
        str(path)
        for path, text in tree.texts().items()
        if str(path.parent) == "tests/bench" and "if __name__ ==" in text
    }
    assert set() == benches - places


def _started(module: str) -> str:
    """The file that `python -m` starts for a module, or for a package."""
    package = (tree.TOP / module).is_dir()
    return f"{module}/__main__.py" if package else f"{module}.py"


def test_each_script_is_told() -> None:
    """Whatever in `.ci` can be run has its words."""
    scripts = [str(path) for path in tree.files() if path.parts[0] == ".ci"]
    assert [] == [script for script in scripts if f"`{script}`" not in GUIDE]
