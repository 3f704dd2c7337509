"""Starts the daemon for tests; can end the process at a named point.

`python -m tests.service.launch [WISH COUNT] CONFIG STATE`: with a wish, the process
kills itself with SIGKILL when its point is reached for the COUNT-th time. A wish reads
`POINT` or `POINT:KIND`; `A>B` counts B only once A was reached.

`python -m tests.service.launch --nursery` answers lines `WISH COUNT CONFIG STATE` with
a process each: forked with everything imported, the readers of records built and
before any thread lives, which spares the second an interpreter takes to get there. Says
the process's id, then how it ended. The wish `-` is none.
"""

import gc
import os
import signal
import sys
import tempfile
from contextlib import suppress
from pathlib import Path

from slackwater.errors import InputError, LedgerDamagedError
from slackwater.ledger.codec import decode, load_state
from slackwater.outside.approved import machine_from, plan_from
from slackwater.outside.glimpse import NAME, read_glimpse
from slackwater.service.run import main
from slackwater.service.wiring import Places

NO_WISH = "-"


class Wish:
    """A named point of the audit hook, counted down; see the module's words."""

    def __init__(self, text: str, count: int = 1) -> None:
        """Keep the points' names and the visit that is meant."""
        self._steps = [step.partition(":") for step in text.split(">")]
        self._left = count

    def is_met(self, event: str, about: tuple[object, ...]) -> bool:
        """Take note of one audit event; whether it is the visit that is meant."""
        name, _, kind = self._steps[0]
        if event != f"slackwater.{name}" or (kind and kind not in about):
            return False
        if len(self._steps) > 1:
            del self._steps[0]
            return False
        self._left -= 1
        return self._left <= 0


class Executioner:
    """An audit hook that ends the process when a wish is met."""

    def __init__(self, wish: Wish) -> None:
        """Keep what to wait for."""
        self._wish = wish

    def __call__(self, event: str, about: tuple[object, ...]) -> None:
        """Look at one audit event; at the last the process is gone at once."""
        if self._wish.is_met(event, about):
            os.kill(os.getpid(), signal.SIGKILL)


def daemon(wish: str, count: str, config: str, state: str) -> int:
    """Run the daemon as the program does; give its exit code."""
    if wish != NO_WISH:
        sys.addaudithook(Executioner(Wish(wish, int(count))))
    return main(Places(config=Path(config), state=Path(state)))


def build_readers() -> None:
    """Read nothing as a record of each sort: what reads them is built for it, and kept.

    A daemon does so at its start, and it is half of what a start takes; each builds the
    same, out of the records' shapes alone.
    """
    for read in (decode, load_state, machine_from, plan_from):
        with suppress(LedgerDamagedError, InputError):
            read("")
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, NAME).touch()
        read_glimpse(Path(folder))
    gc.freeze()


def keep_nursery() -> None:
    """Fork a daemon for each line, one after the other, until the input ends."""
    build_readers()
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
            os.dup2(2, 1)
            os._exit(daemon(*line.split()))
        say(child)
        _, status = os.waitpid(child, 0)
        say(os.waitstatus_to_exitcode(status))


def say(number: int) -> None:
    """One number on a line of its own, at once."""
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    if sys.argv[1:] == ["--nursery"]:
        keep_nursery()
    else:
        *given, its_config, its_state = sys.argv[1:]
        its_wish, its_count = given or (NO_WISH, "0")
        sys.exit(daemon(its_wish, its_count, its_config, its_state))
