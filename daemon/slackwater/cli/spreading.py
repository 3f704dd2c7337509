"""Parts of a rehearsal on as many processes as there are cores.

Floor 8. One subject: who does the parts. Laws here: what comes out is the same on one
core and on many; what cannot be done beside is done here; an error of a part is raised
here as it was raised there.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.process import BaseProcess

from slackwater.rehearsal.found import Found
from slackwater.rehearsal.parts import Part
from slackwater.rehearsal.rehearsal import Taped, run_part, tape_part, untaped

# Doses that are worth a process: some 0.2 s of work, ten times what one takes to begin.
WORTH_DOSES = 4_000


def on_all_cores(parts: Sequence[Part]) -> list[Found]:
    """Do the parts, beside each other where that is possible and worth it."""
    others = sorted(part.doses_at_most for part in parts)[:-1]
    # A fork takes none of the threads along, but the locks that they hold.
    if sum(others) < WORTH_DOSES or threading.active_count() > 1 or not _can_fork():
        return one_by_one(parts)
    return side_by_side(parts, cores())


def cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def one_by_one(parts: Sequence[Part]) -> list[Found]:
    """Do the parts here, one after the other."""
    return [run_part(part) for part in parts]


def side_by_side(parts: Sequence[Part], processes: int) -> list[Found]:
    """Do the parts in so many processes at most, this one included.

    Raises: what `run_part` raises, whichever process it was raised in.
    """
    workers = min(processes, len(parts)) - 1
    if workers < 1:
        return one_by_one(parts)
    before = multiprocessing.active_children()
    try:
        fork = multiprocessing.get_context("fork")
        pool = ProcessPoolExecutor(workers, fork, _begin)
        asked = [pool.submit(tape_part, part) for part in parts[1:]]
    # No room for another process, or no semaphores on this system.
    except (OSError, NotImplementedError, ImportError):
        _end_since(before)
        return one_by_one(parts)
    try:
        first = run_part(parts[0])
        # What was read is not kept: a year of doses is long.
        return [first, *(_answer(asked.pop(0), part) for part in parts[1:])]
    finally:
        pool.shutdown(cancel_futures=True)


def _can_fork() -> bool:
    return "fork" in multiprocessing.get_all_start_methods()


def _begin() -> None:
    """Let an interrupt end a worker without a word; the caller has its say."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _end_since(before: Sequence[BaseProcess]) -> None:
    """End the workers that did begin: nobody gives them work, or would end them."""
    for child in multiprocessing.active_children():
        if child not in before:
            child.terminate()
            child.join()


def _answer(future: Future[Taped], part: Part) -> Found:
    """What a worker found; what none has begun, or one died of, is done here."""
    if future.cancel():
        return run_part(part)
    try:
        taped = future.result()
    except BrokenProcessPool:
        return run_part(part)
    return untaped(part, taped)
