"""Each system call of a child answered by its parent: let through, refused, or the end.

The kernel asks (seccomp_unotify(2)): a child behind the border waits at each call that
may touch a file until its parent has said what becomes of it. Nothing is simulated:
what is let through the kernel does, a write that is cut short the kernel cuts short
(at the limit of RLIMIT_FSIZE), and who is killed at a call never makes it. The child
is forked, so that no interpreter has to start; it costs some 20 µs a call.

Numbers of the calls: asm/unistd_64.h and asm-generic/unistd.h of Linux 6.1. Tried on
x86-64; without a kernel that asks, `is_there` says so.
"""

import ctypes
import fcntl
import gc
import os
import platform
import resource
import select
import signal
import socket
import struct
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Final

# Machine: its name in audit.h, the number of seccomp(2), and of the calls, by what they
# do: two names of one act are one.
_X86_64 = {
    "openat": (257, 2),
    "read": (0,),
    "write": (1,),
    "pread64": (17,),
    "pwrite64": (18,),
    "fsync": (74,),
    "fdatasync": (75,),
    "ftruncate": (77,),
    # Of a file or, with a flag, of a folder.
    "unlink": (87, 263, 84),
    "rename": (82, 264, 316),
    "link": (86, 265),
    "mkdir": (83, 258),
    "fchmod": (91,),
    "stat": (4, 5, 6, 262, 332),
    "access": (21, 269, 439),
    "lock": (72,),
    "flock": (73,),
}
_AARCH64 = {
    "openat": (56,),
    "read": (63,),
    "write": (64,),
    "pread64": (67,),
    "pwrite64": (68,),
    "fsync": (82,),
    "fdatasync": (83,),
    "ftruncate": (46,),
    "unlink": (35,),
    "rename": (38, 276),
    "link": (37,),
    "mkdir": (34,),
    "fchmod": (52,),
    "stat": (79, 80, 291),
    "access": (48, 439),
    "lock": (25,),
    "flock": (32,),
}
_MACHINES = MappingProxyType(
    {
        "x86_64": (0xC000003E, 317, _X86_64),
        "aarch64": (0xC00000B7, 277, _AARCH64),
    }
)
NAMES = tuple(_X86_64)
_ACTIONS = Path("/proc/sys/kernel/seccomp/actions_avail")
# From linux/seccomp.h, linux/prctl.h and linux/filter.h.
_NO_NEW_PRIVS, _SET_FILTER, _NEW_LISTENER = 38, 1, 8
_ALLOW, _ASK = 0x7FFF0000, 0x7FC00000
_LOAD, _EQUAL, _RETURN = 0x20, 0x15, 0x06
_AT_NUMBER, _AT_MACHINE = 0, 4
_RECEIVE, _ANSWER = 0xC0502100, 0xC0182101
_ASKED, _CONTINUE = struct.Struct("=QIIiIQ6Q"), 1
# Of fcntl(2) only what asks for a lock, sets one or waits for one.
_LOCKS = frozenset({fcntl.F_GETLK, fcntl.F_SETLK, fcntl.F_SETLKW})

# What a rule may say beside an errno: let it through, end the process before it, let
# half of the bytes through.
GO: Final = 0
KILL: Final = -1
SHORT: Final = -2
Rule = Callable[[int, str], int]
# Says a word, and comes back when the parent has done its part.
Say = Callable[[str], None]
# Nothing that is tried here takes seconds; a life that waits so long never ends.
PATIENCE_MS = 60_000


@dataclass(slots=True, kw_only=True)
class Life:
    """How a life behind the border ended, and the calls it made, in order.

    `code` is an exit code or minus a signal; `said` its last words; `heard` each word
    it said before.
    """

    code: int = 0
    said: str = ""
    calls: list[str] = field(default_factory=list)
    heard: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Voice:
    """The child's end: says a word, and waits until the parent has done its part."""

    line: socket.socket

    def __call__(self, word: str) -> None:
        """Say it."""
        self.line.send(word.encode())
        self.line.recv(1)


def is_there() -> bool:
    """Whether this kernel asks a parent, and for this machine it is known how."""
    try:
        actions = _ACTIONS.read_text(encoding="ascii").split()
    except OSError:
        return False
    return "user_notif" in actions and platform.machine() in _MACHINES


def watched(
    work: Callable[[Say], str],
    rule: Rule,
    hear: Callable[[str], None],
    names: Collection[str] = NAMES,
) -> Life:
    """Fork, let the child work, and answer each of its calls of these names by a rule.

    The rule is given the number of the call among those of its name, from 1 on, and the
    name. What `work` gives back are the child's last words; for each before them `hear`
    is called while the child waits.
    """
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    child = os.fork()
    if child == 0:
        # Whatever happens, no more of the parent's program runs here.
        try:
            ours.close()
            _behind(theirs, work, names)
        finally:
            os._exit(70)
    theirs.close()
    life = Life()
    with ours:
        _, (listener, *_), *_ = socket.recv_fds(ours, 1, 1)
        try:
            ours.send(b"!")
            _Guard(child, listener, ours, rule, hear, life).stand()
        finally:
            os.close(listener)
    _, status = os.waitpid(child, 0)
    life.code = os.waitstatus_to_exitcode(status)
    return life


def _behind(
    line: socket.socket, work: Callable[[Say], str], names: Collection[str]
) -> None:
    """The child's whole life."""
    # It is short; looking for litter would only copy the parent's memory.
    gc.disable()
    listener = _put_up(names)
    socket.send_fds(line, [b"!"], [listener])
    os.close(listener)
    line.recv(1)
    words = work(_Voice(line))
    line.send(f"={words}".encode())
    os._exit(0)


def _put_up(names: Collection[str]) -> int:
    """From now on the kernel asks whoever holds this descriptor."""
    machine, seccomp, calls = _MACHINES[platform.machine()]
    numbers = [number for name in names for number in calls.get(name, ())]
    steps = [(_LOAD, 0, 0, _AT_MACHINE), (_EQUAL, 1, 0, machine), (_RETURN, 0, 0, 0)]
    steps.append((_LOAD, 0, 0, _AT_NUMBER))
    steps += [
        (_EQUAL, len(numbers) - at, 0, number) for at, number in enumerate(numbers)
    ]
    steps += [(_RETURN, 0, 0, _ALLOW), (_RETURN, 0, 0, _ASK)]
    text = ctypes.create_string_buffer(
        b"".join(struct.pack("=HBBI", *step) for step in steps)
    )
    program = struct.pack("@HxxxxxxQ", len(steps), ctypes.addressof(text))
    libc = ctypes.CDLL(None, use_errno=True)
    libc.prctl(_NO_NEW_PRIVS, 1, 0, 0, 0)
    listener = int(libc.syscall(seccomp, _SET_FILTER, _NEW_LISTENER, program))
    if listener < 0:
        raise OSError(ctypes.get_errno(), "no border could be put up here")
    return listener


@dataclass(slots=True)
class _Guard:
    """The parent's part: one child, asked for at each of its calls."""

    child: int
    listener: int
    line: socket.socket
    rule: Rule
    hear: Callable[[str], None]
    life: Life
    limited: bool = False

    def stand(self) -> None:
        """Answer until the child is gone."""
        names = {
            number: name
            for name, numbers in _MACHINES[platform.machine()][2].items()
            for number in numbers
        }
        poll = select.poll()
        poll.register(self.listener, select.POLLIN)
        poll.register(self.line, select.POLLIN)
        while True:
            ready = dict(poll.poll(PATIENCE_MS))
            if not ready:
                os.kill(self.child, signal.SIGKILL)
                self.life.said = f"!! waits for ever after call {len(self.life.calls)}"
                return
            if ready.get(self.listener, 0) & select.POLLIN:
                self._asked(names)
            elif self.line.fileno() in ready:
                if not self._heard():
                    return
            elif self.listener in ready:
                # Nobody is left behind the border; the line says so too.
                poll.unregister(self.listener)

    def _heard(self) -> bool:
        """Listen; False when nothing more is going to be said."""
        word = self.line.recv(65_536).decode()
        if not word or word.startswith("="):
            self.life.said = word[1:] or self.life.said
            return False
        self.life.heard.append(word)
        self.hear(word)
        self.line.send(b"!")
        return True

    def _asked(self, names: dict[int, str]) -> None:
        """One call."""
        try:
            asked = fcntl.ioctl(self.listener, _RECEIVE, bytes(_ASKED.size))
        except FileNotFoundError:
            # It died meanwhile.
            return
        key, _, _, number, _, _, *words = _ASKED.unpack(asked)
        self._lift()
        name = names[number]
        if name == "lock" and words[1] not in _LOCKS:
            self._answer(key, GO)
            return
        self.life.calls.append(name)
        verdict = self.rule(self.life.calls.count(name), name)
        if verdict == KILL:
            os.kill(self.child, signal.SIGKILL)
            return
        if verdict == SHORT:
            self._limit(name, words)
        self._answer(key, max(verdict, GO))

    def _answer(self, key: int, error: int) -> None:
        text = struct.pack("=QqiI", key, 0, -error, 0 if error else _CONTINUE)
        fcntl.ioctl(self.listener, _ANSWER, text)

    def _limit(self, name: str, words: list[int]) -> None:
        """Let the file end in the middle of what is about to be written."""
        file, _, count, at, *_ = words
        if name == "write":
            told = Path(f"/proc/{self.child}/fdinfo/{file}").read_text("ascii")
            at = int(told.split()[1])
        most = (at + count // 2, resource.RLIM_INFINITY)
        resource.prlimit(self.child, resource.RLIMIT_FSIZE, most)
        self.limited = True

    def _lift(self) -> None:
        if self.limited:
            everything = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
            resource.prlimit(self.child, resource.RLIMIT_FSIZE, everything)
            self.limited = False
