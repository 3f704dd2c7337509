"""A process that asked for it leaves no image of its memory (H63).

Source: Linux, prctl(2), PR_SET_DUMPABLE; core(5); proc(5), `limits`.
"""

import os
import signal
import subprocess
import sys
from pathlib import Path

from tests.service.household import environment

CANARY = "canary-7e02c4"
# Asks for as large a core file as it may have, then not to have any, and dies of it.
DIES = f"""
import os, resource, signal
most = resource.getrlimit(resource.RLIMIT_CORE)[1]
resource.setrlimit(resource.RLIMIT_CORE, (most, most))
from slackwater.outside.memory_images import forbid_memory_images, is_dumpable
before = is_dumpable()
secret = "{CANARY}"
print(before, forbid_memory_images(), is_dumpable(), flush=True)
print(open("/proc/self/limits").read(), flush=True)
os.kill(os.getpid(), signal.SIGABRT)
"""


def test_h63_a_process_that_dies_leaves_no_core_file(tmp_path: Path) -> None:
    """It could have been dumped, then not any more, and no image came of its end."""
    with subprocess.Popen(
        [sys.executable, "-c", DIES],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        told = process.stdout.read()
        # The raw status says whether there was an image; `returncode` does not.
        _, status = os.waitpid(process.pid, 0)
    assert signal.SIGABRT == os.WTERMSIG(status)
    assert not os.WCOREDUMP(status)
    assert "True True False" == told.splitlines()[0]
    (limit,) = (line for line in told.splitlines() if "core file" in line)
    assert ["0", "0"] == limit.split()[4:6]
    assert [] == list(tmp_path.iterdir())
