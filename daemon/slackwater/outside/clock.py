"""The system's clocks.

Floor 6. One subject: reading wall time, boot time, the boot's identity and whether a
time service vouches for the wall clock. Laws here: this is the one door to the system
clock; what cannot be read counts as not synchronised.
"""

import ctypes
import os
import subprocess
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from slackwater.errors import Finding, InputError
from slackwater.facts.now import Now

# Asking costs a system call, or a small process; the answer changes within minutes.
LOOK_AGAIN_S = 30.0
# Source: Linux, adjtimex(2): the bit STA_UNSYNC of `status`.
_UNSYNCHRONISED = 0x0040
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
# A service that may not touch the clock may not ask the kernel either. The manager of
# the machine's clock asks for it, whichever time service runs.
# Source: timedatectl(1); it is done within a tenth of a second where it can be done.
ASK_MANAGER = (
    "/usr/bin/timedatectl",
    "show",
    "--property=NTPSynchronized",
    "--value",
)
_ANSWER_WITHIN_S = 3.0
# Where there is no such manager, the mark of one time service counts.
# Source: systemd-timesyncd.service(8).
SERVICE_MARK = Path("/run/systemd/timesync/synchronized")


class _Timex(ctypes.Structure):
    """The beginning of the kernel's record; the rest is only room for it.

    Source: Linux, adjtimex(2).
    """

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("frequency", ctypes.c_long),
        ("maximum_error", ctypes.c_long),
        ("estimated_error", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 1024),
    )


def is_vouched_for() -> bool:
    """Whether the kernel says the wall clock is synchronised, or who may ask it."""
    answer = ask_kernel()
    return ask_others() if answer is None else answer


def ask_kernel() -> bool | None:
    """Whether the kernel says synchronised; None where it may not be asked."""
    record = _Timex()
    try:
        answer = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(record))
    except (OSError, AttributeError):
        return None
    return None if answer < 0 else not int(record.status) & _UNSYNCHRONISED


def ask_others(command: Sequence[str] = ASK_MANAGER, mark: Path = SERVICE_MARK) -> bool:
    """What the manager of the clock says, else whether the time service left its mark.

    No answer within seconds, or one that is neither yes nor no, is none.
    """
    try:
        done = subprocess.run(  # noqa: S603 -- our own words
            command,
            capture_output=True,
            check=False,
            stdin=subprocess.DEVNULL,
            timeout=_ANSWER_WITHIN_S,
        )
    except (OSError, subprocess.TimeoutExpired):
        return mark.exists()
    told = done.stdout.strip()
    return told == b"yes" if told in (b"yes", b"no") else mark.exists()


class SystemClock:
    """The three clocks of this machine, read at one moment."""

    def __init__(
        self,
        vouches: Callable[[], bool] = is_vouched_for,
        boot_id_file: Path = _BOOT_ID,
    ) -> None:
        """Keep how to ask; nothing is read yet."""
        self._vouches = vouches
        self._boot_id_file = boot_id_file
        self._boot_id = ""
        self._synchronised = False
        self._looked_boot_s: float | None = None

    def now(self) -> Now:
        """Read all clocks at one moment.

        Raises: InputError when the machine has no boot identity.
        """
        boot_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        return Now(
            utc=datetime.now(UTC),
            boot_s=boot_s,
            boot_id=self._boot_id or self._read_boot_id(),
            synchronised=self._is_synchronised(boot_s),
        )

    def _is_synchronised(self, boot_s: float) -> bool:
        looked = self._looked_boot_s
        if looked is None or boot_s - looked >= LOOK_AGAIN_S:
            self._synchronised = self._vouches()
            self._looked_boot_s = boot_s
        return self._synchronised

    def _read_boot_id(self) -> str:
        try:
            self._boot_id = self._boot_id_file.read_text("ascii").strip()
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(
                Finding(
                    what="the identity of this boot cannot be read",
                    where=os.fspath(self._boot_id_file),
                    expected="a Linux kernel with /proc mounted",
                    do="Run the daemon where /proc/sys can be read.",
                )
            ) from error
        return self._boot_id
