"""What is sure to be left if the power went now, told from the calls that were made.

Source: Linux man-pages, fsync(2) and rename(2). What was written to a file is sure once
it was synced; a name is sure once the directory it stands in was synced after it ("an
explicit fsync() on a file descriptor for the directory is also needed"). A name that is
given before the bytes are sure may lead to an empty file afterwards.
"""

import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest


class Disk:
    """Watches every sync and every naming; each call is carried out as well.

    `early` are names given before their bytes were sure, `unsure` those that are not
    sure yet; `then` is called after each sync, with the file.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.early: list[str] = []
        self.unsure: set[str] = set()
        self.then: Callable[[Path], object] = lambda _path: None
        self._sure: dict[int, bytes] = {}
        self._sync = os.fsync
        monkeypatch.setattr(os, "fsync", self._on_sync)
        for name in ("rename", "replace", "link"):
            monkeypatch.setattr(os, name, self._naming(getattr(os, name)))

    def is_sure(self, path: Path) -> bool:
        """Whether all bytes of a file are."""
        return self._sure.get(path.stat().st_ino) == path.read_bytes()

    def _on_sync(self, descriptor: int) -> None:
        self._sync(descriptor)
        path = Path(f"/proc/self/fd/{descriptor}").readlink()
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            self.unsure -= {name for name in self.unsure if Path(name).parent == path}
        else:
            self._sure[status.st_ino] = path.read_bytes()
        self.then(path)

    def _naming(self, call: Callable[..., None]) -> Callable[..., None]:
        def named(source: Path, target: Path) -> None:
            call(source, target)
            self.unsure.add(str(target))
            if not self.is_sure(Path(target)):
                self.early.append(Path(target).name)

        return named
