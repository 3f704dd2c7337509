"""A ledger once more, as another process opens it."""

from pathlib import Path

from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import FOOTING


def reopened(path: Path) -> LedgerFile:
    """The same file, as another process opens it."""
    return LedgerFile.open(path, footing=FOOTING)
