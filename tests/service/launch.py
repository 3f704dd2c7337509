"""Starts the daemon for tests; can end the process at a named point.

`python -m tests.service.launch [POINT COUNT] CONFIG STATE`: with a point, the process
kills itself with SIGKILL when that point is reached for the COUNT-th time.
"""

import os
import signal
import sys
from pathlib import Path

from slackwater.service.run import main
from slackwater.service.wiring import Places


class Executioner:
    """An audit hook that counts one named point and then ends the process."""

    def __init__(self, point: str, count: int) -> None:
        """Keep the point's name and at which visit to end."""
        self._name = f"slackwater.{point}"
        self._left = count

    def __call__(self, event: str, _arguments: tuple[object, ...]) -> None:
        """Count; at the last visit the process is gone at once."""
        if event != self._name:
            return
        self._left -= 1
        if self._left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)


if __name__ == "__main__":
    *wish, config, state = sys.argv[1:]
    if wish:
        sys.addaudithook(Executioner(wish[0], int(wish[1])))
    sys.exit(main(Places(config=Path(config), state=Path(state))))
