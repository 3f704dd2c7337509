"""Equal files give equal bytes, wherever and whenever they are rehearsed."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.run_program import CONFIG

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

TOP = Path(__file__).resolve().parents[3]
# A zone and a locale.
Place = tuple[str, str]
PLACES = (("Pacific/Auckland", "C.UTF-8"), ("America/St_Johns", "de_DE.UTF-8"))


def rehearsed(folder: Path, name: str, place: Place, seed: int) -> tuple[str, str]:
    """SHA-256 of document and page, made by a process of its own."""
    page = folder / "page.html"
    zone, locale = place
    done = subprocess.run(
        [
            *(sys.executable, "-m", "slackwater", "rehearse", "--json", "--faults"),
            *("--config", str(CONFIG / name), "--state", str(folder / "none")),
            *("--days", "5", "--html", str(page), "--visit", "2026-05-20"),
        ],
        env={
            "PYTHONPATH": str(TOP / "daemon"),
            "TZ": zone,
            "LC_ALL": locale,
            "PYTHONHASHSEED": str(seed),
            "PATH": os.defpath,
            "COLUMNS": str(80 + seed),
        },
        capture_output=True,
        check=True,
    )
    texts = (done.stdout, page.read_bytes())
    first, second = (hashlib.sha256(text).hexdigest() for text in texts)
    return first, second


@pytest.mark.parametrize(
    "name", ["smallest", pytest.param("chemistry", marks=pytest.mark.long)]
)
def test_d3_document_and_page_are_the_same_bytes_on_another_machine(
    tmp_path: Path, name: str
) -> None:
    """Host zone, locale, hash seed and terminal change nothing."""
    found = set()
    for seed, place in enumerate(PLACES):
        folder = tmp_path / str(seed)
        folder.mkdir()
        found.add(rehearsed(folder, name, place, seed))
    assert 1 == len(found)
