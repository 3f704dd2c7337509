"""The files of the project, as git knows them."""

import subprocess
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Any

TOP = Path(__file__).parents[2]


def files() -> list[PurePosixPath]:
    """Every file that is, or could be, committed, relative to the top; sorted."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=TOP,
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    named = {PurePosixPath(name) for name in listed.split("\0") if name}
    return sorted(path for path in named if (TOP / path).is_file())


def texts() -> dict[PurePosixPath, str]:
    """Every file with its text; bytes that are no UTF-8 show as marks."""
    return {
        path: (TOP / path).read_text(encoding="utf-8", errors="replace")
        for path in files()
    }


@cache
def settings() -> Mapping[str, Any]:
    """What pyproject.toml says."""
    return tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))


def floors() -> dict[str, int]:
    """The floor of every room, counted up from 0 as the contract lists them."""
    contracts = settings()["tool"]["importlinter"]["contracts"]
    layers = next(c["layers"] for c in contracts if c["id"] == "floors")
    return {
        room.strip(" ()"): floor
        for floor, layer in enumerate(reversed(layers))
        for room in layer.split("|")
    }
