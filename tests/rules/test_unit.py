"""The units as systemd itself judges them, apart from any running system."""

import os
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
BACKUP = FOLDER / "slackwater-backup.service"
WEEKLY = FOLDER / "slackwater-backup.timer"
# The program is not installed where this is judged; one that is stands in for it.
PROGRAM = "/opt/slackwater/bin/slackwater"
STAND_IN = "/bin/true"
# systemd's own scale ends at 10; the option takes tenths.
EXPOSURE_TENTHS = {UNIT: (12, 10), AUDIT: (3, 1), BACKUP: (3, 1)}
# For machines where nothing but the kernel can be asked for the clock's standing.
DROP_IN = FOLDER / "kernel-clock.conf"
DROPPED_TENTHS = {UNIT: 14, AUDIT: 5}


def copies(folder: Path, old: str = "", new: str = "") -> Sequence[Path]:
    """The units with a program that is there, and one text in place of another."""
    made = []
    for unit in (UNIT, AUDIT, TIMER, BACKUP, WEEKLY):
        text = unit.read_text("utf-8")
        assert (PROGRAM in text) is (unit.suffix == ".service")
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


@pytest.mark.parametrize("unit", [UNIT, AUDIT, BACKUP], ids=lambda unit: unit.stem)
def test_a_service_is_little_exposed(systemd_analyze: str, unit: Path) -> None:
    """So much of 10 as `systemd-analyze security` counts; 1.0 or 0.1 it is not."""
    ask = (systemd_analyze, "security", "--offline=true")
    codes = [
        judged(*ask, f"--threshold={tenths}", unit)[0]
        for tenths in EXPOSURE_TENTHS[unit]
    ]
    assert [0, 1] == codes


@pytest.mark.parametrize("unit", [UNIT, AUDIT], ids=lambda unit: unit.stem)
def test_the_drop_in_opens_the_clock_and_nothing_else(
    systemd_analyze: str, tmp_path: Path, unit: Path
) -> None:
    """Read behind the unit, as the service manager reads it, and without a slip."""
    merged = tmp_path / unit.name
    text = unit.read_text("utf-8").replace(f"{PROGRAM} run", STAND_IN)
    text = text.replace(PROGRAM, STAND_IN)
    merged.write_text(f"{text}\n{DROP_IN.read_text('utf-8')}", "utf-8")
    assert (0, "") == judged(systemd_analyze, "verify", merged)
    ask = (systemd_analyze, "security", "--offline=true")
    tenths = (DROPPED_TENTHS[unit], EXPOSURE_TENTHS[unit][0])
    codes = [judged(*ask, f"--threshold={one}", merged)[0] for one in tenths]
    assert [0, 1] == codes


@pytest.mark.parametrize("unit", [UNIT, AUDIT, BACKUP], ids=lambda unit: unit.stem)
def test_each_line_that_hardens_says_why(unit: Path) -> None:
    """Above every setting, or above the run of settings it belongs to, is a comment."""
    lines = unit.read_text("utf-8").splitlines()
    bare = [
        line
        for above, line in zip(["", *lines], lines, strict=False)
        if "=" in line and not line.startswith("#") and not above.strip()
    ]
    assert [] == bare


def test_the_user_is_that_of_the_units(systemd_analyze: str, tmp_path: Path) -> None:
    """Made by systemd's own program in an empty root; nobody logs in as it."""
    assert systemd_analyze
    names = re.findall(r"^(?:User|Group)=(.*)$", UNIT.read_text("utf-8"), re.MULTILINE)
    assert ["slackwater", "slackwater"] == names
    (tmp_path / "etc").mkdir()
    file = FOLDER / "slackwater.sysusers"
    for _ in range(2):
        assert 0 == judged("systemd-sysusers", f"--root={tmp_path}", file)[0]
    (user,) = (tmp_path / "etc" / "passwd").read_text("utf-8").splitlines()
    fields = user.split(":")
    assert ("slackwater", "/var/lib/slackwater") == (fields[0], fields[5])
    assert fields[6].endswith("/nologin")
    # In place of a hash: no word fits it (shadow(5)).
    (shadow,) = (tmp_path / "etc" / "shadow").read_text("utf-8").splitlines()
    assert shadow.split(":")[1].startswith("!")


def test_the_directories_are_those_of_the_units(
    systemd_analyze: str, tmp_path: Path
) -> None:
    """Configuration for root to change and the user to read, state for the user."""
    assert systemd_analyze
    text = (FOLDER / "slackwater.tmpfiles").read_text("utf-8")
    owners = dict(re.findall(r"^d (\S+) 0750 (\w+ \w+) -$", text, re.MULTILINE))
    places = {"/etc/slackwater": "root slackwater"}
    assert {**places, "/var/lib/slackwater": "slackwater slackwater"} == owners
    # Only root may give files away, and tests run as anybody.
    mine = f"{os.getuid()} {os.getgid()}"
    file = tmp_path / "slackwater.conf"
    line = re.compile(r"^(. \S+ \S+) \w+ \w+ -$", re.MULTILINE)
    owned = line.sub(rf"\1 {mine} -", text)
    assert 4 == owned.count(f" {mine} -")
    file.write_text(owned, "utf-8")
    root = tmp_path / "root"
    root.mkdir()
    for _ in range(2):
        words = ("systemd-tmpfiles", f"--root={root}", "--create", file)
        assert 0 == judged(*words)[0]
    modes = {p: (root / p[1:]).stat().st_mode & 0o777 for p in owners}
    assert dict.fromkeys(owners, 0o750) == modes


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


def test_the_backup_is_hardened_as_the_audit_is() -> None:
    """Line by line the same; it writes to the state directory and one more."""
    audit, backup = (
        [line for line in unit.read_text("utf-8").splitlines() if "=" in line]
        for unit in (AUDIT, BACKUP)
    )
    begin = "Nice=10"
    hard = [one for one in audit[audit.index(begin) :] if not one.startswith("#")]
    same = [one for one in backup[backup.index(begin) :] if not one.startswith("#")]
    assert hard == same
    assert "StateDirectory=slackwater slackwater-backup" in backup


def test_the_timer_starts_the_backup_once_a_week(systemd_analyze: str) -> None:
    """The unit of its own name; systemd itself reads the time as each Monday."""
    text = WEEKLY.read_text("utf-8")
    assert BACKUP.stem == WEEKLY.stem
    (when,) = re.findall(r"^OnCalendar=(.*)$", text, re.MULTILINE)
    words = [systemd_analyze, "calendar", "--iterations=3", when]
    done = subprocess.run(
        words, capture_output=True, check=True, text=True, env={"TZ": "UTC"}
    )
    named = re.findall(r"Mon (\d{4}-\d\d-\d\d) 05:20:00 UTC", done.stdout)
    days = sorted({date.fromisoformat(day) for day in named})
    assert [days[0] + timedelta(weeks=number) for number in range(3)] == days
    assert "Persistent=yes" in text
