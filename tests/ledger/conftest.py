"""The ledger that most of these tests begin with."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import new_ledger


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the ledger of a test lies."""
    return tmp_path / "live.ledger"


@pytest.fixture
def ledger(path: Path) -> Iterator[LedgerFile]:
    """A live ledger with its first entry."""
    with new_ledger(path) as fresh:
        yield fresh
