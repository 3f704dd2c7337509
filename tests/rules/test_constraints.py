"""The releases CI installs: every one we ask for, each with its hashes."""

import re

from packaging.requirements import Requirement

from tests.rules import tree

TEXT = (tree.TOP / ".ci/constraints.txt").read_text(encoding="utf-8")
# A release, an optional marker, and one hash or more, each on its own line.
PINNED = re.compile(
    r"^(?P<name>[a-z0-9-]+)==(?P<version>\S+)(?: ; [^\\\n]+)? "
    r"(?:\\\n    --hash=sha256:[0-9a-f]{64} ?)+$",
    re.MULTILINE,
)


def test_the_list_holds_releases_with_hashes_and_nothing_else() -> None:
    """No address, no option, no name of a machine."""
    assert "" == PINNED.sub("", TEXT).strip()


def test_every_release_is_one_we_allow() -> None:
    """What pyproject.toml asks for stands in the list, within its bounds."""
    project = tree.settings()["project"]
    asked = [*project["dependencies"], *tree.settings()["build-system"]["requires"]]
    for extra in project["optional-dependencies"].values():
        asked += extra
    listed = [(match["name"], match["version"]) for match in PINNED.finditer(TEXT)]
    wrong = []
    for requirement in map(Requirement, asked):
        name = re.sub(r"[-_.]+", "-", requirement.name).lower()
        found = [version for known, version in listed if known == name]
        if not found or not all(requirement.specifier.contains(v) for v in found):
            wrong.append(f"{requirement}: {found}")
    assert [] == wrong
