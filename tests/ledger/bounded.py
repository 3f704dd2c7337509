"""A long ledger, and a connection that fetches no more of it than a page at a time."""

import sqlite3
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from slackwater.ledger.reader import ROWS_AT_ONCE
from tests.ledger.samples import kept, new_ledger

# Two whole pages and one entry on a third.
ENTRIES = 2 * ROWS_AT_ONCE + 1


class Page(sqlite3.Cursor):
    """An answer that is not longer than a page."""

    def fetchall(self) -> list[Any]:
        """All of it."""
        rows = super().fetchall()
        assert len(rows) <= ROWS_AT_ONCE
        return rows


class Paged(sqlite3.Connection):
    """A connection all of whose answers are such."""

    def cursor(self, *_factory: object) -> Page:  # type: ignore[override]  # one kind
        """One more answer."""
        return super().cursor(Page)


def page_by_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every connection from now on be one."""
    monkeypatch.setattr(sqlite3, "connect", partial(sqlite3.connect, factory=Paged))


@cache
def _long() -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder, "live.ledger")
        new_ledger(path, [kept(number) for number in range(ENTRIES - 1)]).close()
        return path.read_bytes()


def long_ledger(folder: Path) -> Path:
    """A closed ledger of `ENTRIES` readings, made once and copied."""
    path = folder / "live.ledger"
    path.write_bytes(_long())
    return path
