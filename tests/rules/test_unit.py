"""The service unit as systemd itself judges it, apart from any running system."""

import subprocess
from pathlib import Path

import pytest

from tests.rules import tree

UNIT = tree.TOP / "systemd" / "slackwater.service"
# The program is not installed where this is judged; one that is stands in for it.
PROGRAM = "/opt/slackwater/bin/slackwater run"
STAND_IN = "/bin/true"
# systemd's own scale ends at 10; the option takes tenths.
EXPOSURE_TENTHS = 17


def copy(folder: Path, old: str = "", new: str = "") -> Path:
    """The unit with a program that is there, and one text in place of another."""
    text = UNIT.read_text("utf-8")
    assert PROGRAM in text
    assert old in text
    path = folder / UNIT.name
    path.write_text(text.replace(PROGRAM, STAND_IN).replace(old, new or old), "utf-8")
    return path


def judged(*words: str | Path) -> tuple[int, str]:
    """Exit code and everything that was complained of."""
    done = subprocess.run(words, capture_output=True, check=False, text=True)
    return done.returncode, done.stderr


def test_the_unit_has_no_slip(systemd_analyze: str, tmp_path: Path) -> None:
    """Unknown keys and values are only warned of, so every word is a failure."""
    assert (0, "") == judged(systemd_analyze, "verify", copy(tmp_path))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("ProtectHome=yes", "ProtectHouse=yes", "Unknown key"),
        ("RestartSec=5", "RestartSec=soon", "Failed to parse"),
    ],
)
def test_a_slip_would_be_seen(
    systemd_analyze: str, tmp_path: Path, old: str, new: str, said: str
) -> None:
    """What is planted is complained of; otherwise silence would prove nothing."""
    assert said in judged(systemd_analyze, "verify", copy(tmp_path, old, new))[1]


def test_the_service_is_little_exposed(systemd_analyze: str) -> None:
    """1.7 of 10 or less, as `systemd-analyze security` counts; 1.0 it is not."""
    ask = (systemd_analyze, "security", "--offline=true")
    codes = [
        judged(*ask, f"--threshold={tenths}", UNIT)[0]
        for tenths in (EXPOSURE_TENTHS, 10)
    ]
    assert [0, 1] == codes
