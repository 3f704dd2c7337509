"""The units as systemd itself judges them, apart from any running system."""

import re
import subprocess
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.rules import tree

FOLDER = tree.TOP / "systemd"
UNIT = FOLDER / "slackwater.service"
AUDIT = FOLDER / "slackwater-audit.service"
TIMER = FOLDER / "slackwater-audit.timer"
# The program is not installed where this is judged; one that is stands in for it.
PROGRAM = "/opt/slackwater/bin/slackwater"
STAND_IN = "/bin/true"
# systemd's own scale ends at 10; the option takes tenths.
EXPOSURE_TENTHS = {UNIT: (17, 10), AUDIT: (11, 2)}


def copies(folder: Path, old: str = "", new: str = "") -> Sequence[Path]:
    """The units with a program that is there, and one text in place of another."""
    made = []
    for unit in (UNIT, AUDIT, TIMER):
        text = unit.read_text("utf-8")
        assert (PROGRAM in text) is (unit != TIMER)
        path = folder / unit.name
        spoiled = text.replace(f"{PROGRAM} run", STAND_IN).replace(PROGRAM, STAND_IN)
        path.write_text(spoiled.replace(old, new) if old else spoiled, "utf-8")
        made.append(path)
    return made


def judged(*words: str | Path) -> tuple[int, str]:
    """Exit code and everything that was complained of."""
    done = subprocess.run(words, capture_output=True, check=False, text=True)
    return done.returncode, done.stderr


def test_no_unit_has_a_slip(systemd_analyze: str, tmp_path: Path) -> None:
    """Unknown keys and values are only warned of, so every word is a failure."""
    assert (0, "") == judged(systemd_analyze, "verify", *copies(tmp_path))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("ProtectHome=yes", "ProtectHouse=yes", "Unknown key"),
        ("RestartSec=5", "RestartSec=soon", "Failed to parse"),
        ("Persistent=yes", "Persists=yes", "Unknown key"),
        ("OnCalendar=*-*-* 04:20:00 UTC", "OnCalendar=nightly", "Failed to parse"),
    ],
)
def test_a_slip_would_be_seen(
    systemd_analyze: str, tmp_path: Path, old: str, new: str, said: str
) -> None:
    """What is planted is complained of; otherwise silence would prove nothing."""
    places = copies(tmp_path, old, new)
    assert any(new in place.read_text("utf-8") for place in places)
    assert said in judged(systemd_analyze, "verify", *places)[1]


@pytest.mark.parametrize("unit", [UNIT, AUDIT], ids=lambda unit: unit.stem)
def test_a_service_is_little_exposed(systemd_analyze: str, unit: Path) -> None:
    """So much of 10 as `systemd-analyze security` counts; 1.0 or 0.2 it is not."""
    ask = (systemd_analyze, "security", "--offline=true")
    codes = [
        judged(*ask, f"--threshold={tenths}", unit)[0]
        for tenths in EXPOSURE_TENTHS[unit]
    ]
    assert [0, 1] == codes


def test_the_audit_is_hardened_as_the_daemon_is() -> None:
    """Each line that hardens the daemon's unit stands there, or a stricter one."""
    stricter = {"RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX", "TasksMax=32"}
    daemon, audit = (
        {
            line
            for line in unit.read_text("utf-8").split("MemoryMax", 1)[1].splitlines()
            if "=" in line and not line.startswith("#")
        }
        for unit in (UNIT, AUDIT)
    )
    assert {"WantedBy=multi-user.target", *stricter} == daemon - audit
    assert "PrivateNetwork=yes" in audit


def test_the_timer_starts_the_audit_once_a_day(systemd_analyze: str) -> None:
    """The unit of its own name, and systemd itself reads the time as daily."""
    text = TIMER.read_text("utf-8")
    assert AUDIT.stem == TIMER.stem
    (when,) = (
        line.partition("=")[2] for line in text.splitlines() if "OnCalendar" in line
    )
    words = [systemd_analyze, "calendar", "--iterations=3", when]
    done = subprocess.run(
        words, capture_output=True, check=True, text=True, env={"TZ": "UTC"}
    )
    named = re.findall(r"(\d{4}-\d\d-\d\d) 04:20:00 UTC", done.stdout)
    days = [date.fromisoformat(day) for day in named]
    assert [days[0] + timedelta(days=number) for number in range(3)] == days
    assert "Persistent=yes" in text
