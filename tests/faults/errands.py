"""`backup` and `restore` by the verbs themselves, as acts to be struck.

A backup is whole or not there and leaves the ledger as it was; a restore is whole and
holds everything, or can be tried again.
"""

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from slackwater.errors import SlackwaterError
from slackwater.ledger import archive
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME, read_state
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of
from tests.faults.acts import BROKEN, VOUCH, Act, Left, whole
from tests.faults.border import Say
from tests.faults.life import AT_ONCE
from tests.ledger.samples import kept

BACKUP = "reef.tar"
# Entries of the ledger that is copied.
ENTRIES = 3
NOTHING_DOSED = ("--dosed-nothing", "--by", "keeper")


def _stage(folder: Path) -> Stage:
    return Stage(SMALLEST, folder / "state")


def _by_verb(folder: Path, say: Say, *words: object) -> str:
    """Run a verb; its answer is what it vouches for."""
    told = _stage(folder).run(str(words[0]), *words[1:])
    if told.code == 0:
        say(VOUCH)
        return ""
    if not told.err.startswith("error: ") or "unexpected fault" in told.err:
        return f"{BROKEN}{told.err}"
    return f"code {told.code}"


def _for_backup(folder: Path) -> None:
    stage_of(folder).append(kept(1), kept(2))


def _backed_up(folder: Path, say: Say) -> str:
    return _by_verb(folder, say, "backup", folder / BACKUP)


def _is_backup(left: Left) -> list[str]:
    """A whole backup or none, and the ledger as it was."""
    tar, state = left.folder / BACKUP, left.folder / "state"
    found = whole(replace(left, folder=state, vouched=0), ENTRIES, [])
    if not tar.exists():
        return [*found, "the backup is not there"] if left.vouched else found
    with tempfile.TemporaryDirectory(dir=left.folder) as name:
        try:
            if archive.unpack(tar, Path(name)).entries == ENTRIES:
                return found
        except SlackwaterError as error:
            return [*found, str(error)]
    return [*found, "it is another ledger"]


def _for_restore(folder: Path) -> None:
    _for_backup(folder)
    if _stage(folder).run("backup", folder / BACKUP).code:
        message = "no backup could be made"
        raise SystemExit(message)
    shutil.rmtree(folder / "state")


def _restored(folder: Path, say: Say) -> str:
    return _by_verb(folder, say, "restore", folder / BACKUP, *NOTHING_DOSED)


def _is_back(left: Left) -> list[str]:
    """A whole ledger that goes on from the backup, or none; then it is put back now."""
    stage = _stage(left.folder)
    path = stage.state / LIVE_NAME
    if not path.exists():
        told = stage.run("restore", left.folder / BACKUP, *NOTHING_DOSED)
        if left.vouched or told.code:
            return [f"it is not there, {left.vouched} vouched: {told.err}"]
    state = replace(left, folder=stage.state, vouched=0)
    try:
        with LedgerFile.open(path, writable=False, footing=AT_ONCE) as ledger:
            holds = read_state(ledger).holds
            more = ledger.head.seq - ENTRIES
    except SlackwaterError as error:
        return [str(error)]
    if "ledger-restored" not in holds or not more:
        return ["nothing holds after a restore"]
    return whole(state, ENTRIES + more, [])


ERRANDS = (
    Act(name="backup", prepare=_for_backup, live=_backed_up, look=_is_backup),
    Act(name="restore", prepare=_for_restore, live=_restored, look=_is_back),
)
