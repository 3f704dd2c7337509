"""No image of the daemon's memory: passwords and keys stand in it.

Floor 6. One subject: core files and other processes that would read the memory. Laws
here: it is asked for before any secret is read; a kernel that refuses hinders nothing,
for the unit asks for the same.
"""

import ctypes
import resource
from contextlib import suppress

# Source: Linux, prctl(2). Not dumpable: no core file, not even through a pipe, and no
# process of the same user may look into the memory.
_GET_DUMPABLE, _SET_DUMPABLE = 3, 4


def forbid_memory_images() -> bool:
    """Let this process and those it starts leave no core file.

    Returns whether the kernel agreed that its memory is nobody's business.
    """
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_SET_DUMPABLE, 0, 0, 0, 0)
    return not is_dumpable()


def is_dumpable() -> bool:
    """Whether the kernel would write this process's memory into a core file."""
    try:
        return int(ctypes.CDLL(None).prctl(_GET_DUMPABLE, 0, 0, 0, 0)) != 0
    except (OSError, AttributeError):
        return True
