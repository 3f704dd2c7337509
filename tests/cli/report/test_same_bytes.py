"""Equal files give equal bytes, wherever and whenever they are rehearsed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.report.reports import printed
from tests.cli.run_program import CONFIG

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

TOP = Path(__file__).resolve().parents[3]
# A zone and a locale.
Place = tuple[str, str]
PLACES = (("Pacific/Auckland", "C.UTF-8"), ("America/St_Johns", "de_DE.UTF-8"))
VISIT = ("--days", "5", "--visit", "2026-05-20")


def rehearsed(
    folder: Path, name: str, words: tuple[str, ...], number: int
) -> tuple[str, str]:
    """Document and page, made by a process of its own in a place far away."""
    page = folder / f"page-{number}.html"
    zone, locale = PLACES[number]
    done = subprocess.run(
        [
            *(sys.executable, "-m", "slackwater", "rehearse", "--json"),
            *("--config", str(CONFIG / name), "--state", str(folder / "none")),
            *("--html", str(page), *words),
        ],
        env={
            "PYTHONPATH": str(TOP / "daemon"),
            "TZ": zone,
            "LC_ALL": locale,
            "PYTHONHASHSEED": str(number),
            "PATH": os.defpath,
            "COLUMNS": str(80 + number),
        },
        capture_output=True,
        check=True,
    )
    return done.stdout.decode(), page.read_text("utf-8")


@pytest.mark.parametrize(
    "name", ["smallest", pytest.param("chemistry", marks=pytest.mark.long)]
)
def test_d3_document_and_page_are_the_same_bytes_on_another_machine(
    tmp_path: Path, name: str
) -> None:
    """With all faults: host zone, locale, hash seed and terminal change nothing.

    The other machine is this one, which made the same for all tests of this folder.
    """
    assert printed(name) == rehearsed(tmp_path, name, ("--faults",), 0)


def test_d3_so_are_those_that_name_a_visit(tmp_path: Path) -> None:
    """Days are counted and named up to it, with no faults on the way."""
    first, second = (rehearsed(tmp_path, "smallest", VISIT, n) for n in (0, 1))
    assert first == second
