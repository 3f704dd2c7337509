"""A whole copy of a ledger, made while others append to it.

Floor 6. One subject: the rows of one ledger in a file of their own. Laws here: the copy
ends at the entry that was the newest when it began; every row is checked against the
chain before it is written; the source is read a thousand rows at a time with no cursor
left open, so that the daemon's commit never waits for a copy.

SQLite's own online backup would hold a lock for its whole length or begin anew after
each entry of the daemon (sqlite.org/backup.html); an append-only chain needs neither.
"""

from contextlib import closing
from pathlib import Path

from slackwater.ledger.birth import MODE, fill
from slackwater.ledger.connection import FOOTING, open_file, translated
from slackwater.ledger.store import LedgerFile


def copy_live(source: LedgerFile, target: Path) -> None:
    """Write the entries up to the head of `source` into a new file.

    Raises: FileExistsError when the file is there; the ledger errors.
    """
    target.touch(mode=MODE, exist_ok=False)
    with translated(str(target)):
        copy = open_file(target, writable=True, busy_ms=FOOTING.busy_ms)
        with closing(copy):
            fill(copy, "live", source.ledger_id, source.rows())
