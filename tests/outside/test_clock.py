"""The system clock agrees with the kernel's own files and calls."""

import ctypes
import re
import struct
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.clock import (
    ASK_MANAGER,
    SystemClock,
    ask_kernel,
    ask_others,
    is_vouched_for,
)
from slackwater.ports import Clock


def test_wall_time_is_utc_and_now() -> None:
    """Wall time lies between two readings of the language's own clock."""
    clock: Clock = SystemClock()
    before = datetime.fromtimestamp(time.time(), UTC)
    utc = clock.now().utc
    after = datetime.fromtimestamp(time.time(), UTC)
    assert before <= utc <= after


def test_boot_time_is_the_kernels_uptime() -> None:
    """`/proc/uptime` counts suspended time too (Linux, proc(5))."""
    before_s = float(Path("/proc/uptime").read_text().split()[0])
    boot_s = SystemClock().now().boot_s
    after_s = float(Path("/proc/uptime").read_text().split()[0])
    # The file is cut to hundredths.
    assert before_s <= boot_s <= after_s + 0.01


def test_boot_identity_is_a_uuid_and_stays() -> None:
    """One boot has one identity, in the form of RFC 9562."""
    clock = SystemClock()
    first, second = clock.now().boot_id, clock.now().boot_id
    assert re.fullmatch("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", first)
    assert first == second


def test_missing_boot_identity_is_an_error_that_says_what_to_do(
    tmp_path: Path,
) -> None:
    """Without `/proc` the daemon cannot tell a reboot from a clock step."""
    clock = SystemClock(boot_id_file=tmp_path / "boot_id")
    with pytest.raises(InputError) as caught:
        clock.now()
    assert str(tmp_path / "boot_id") == caught.value.findings[0].where


@pytest.mark.parametrize("answer", [True, False])
def test_synchronisation_is_asked_once_in_half_a_minute(answer: bool) -> None:
    """Many turns share one look at the kernel."""
    asked: list[bool] = []

    def vouches() -> bool:
        asked.append(answer)
        return answer

    clock = SystemClock(vouches)
    seen = [clock.now().synchronised for _ in range(50)]
    assert ([answer] * 50, [answer]) == (seen, asked)


def test_kernel_is_understood_as_its_record_is_laid_out() -> None:
    """The status bit is the one that clock_adjtime(2) gives at its place.

    Source: Linux, struct timex: modes, offset, freq, maxerror, esterror, status.
    """
    room = ctypes.create_string_buffer(2048)
    answer = ctypes.CDLL(None).clock_adjtime(time.CLOCK_REALTIME, room)
    status = struct.unpack_from("@Illlli", room)[5]
    unsynchronised = bool(status & 0x40)
    assert answer >= 0
    assert (not unsynchronised) == ask_kernel() == is_vouched_for()


@pytest.mark.parametrize(
    ("script", "marked", "expected"),
    [
        ("print('yes')", False, True),
        ("print('no')", True, False),
        ("print('perhaps')", True, True),
        ("raise SystemExit('no bus')", True, True),
        ("raise SystemExit('no bus')", False, False),
    ],
    ids=["yes", "no", "unclear", "marked", "nobody"],
)
def test_h39_who_may_not_ask_the_kernel_asks_the_manager_of_the_clock(
    tmp_path: Path, script: str, marked: bool, expected: bool
) -> None:
    """Its yes or no counts; only without an answer the time service's mark does."""
    mark = tmp_path / "synchronized"
    if marked:
        mark.touch()
    assert expected is ask_others((sys.executable, "-c", script), mark)


def test_h39_without_manager_and_mark_nobody_vouches(tmp_path: Path) -> None:
    """A machine that has neither waits for a person's word."""
    assert not ask_others((str(tmp_path / "timedatectl"),), tmp_path / "mark")


def test_the_manager_is_asked_for_one_word() -> None:
    """Source: timedatectl(1), `show`: a property, and its value alone."""
    assert ("show", "--property=NTPSynchronized", "--value") == ASK_MANAGER[1:]
