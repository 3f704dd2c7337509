"""`backup`, `restore` and `take-back` by the verbs themselves, as acts to be struck.

A backup is whole or not there and leaves the ledger as it was; a restore is whole and
holds everything, or can be tried again; what was taken back waits no more, and what was
not still waits and can be taken back.
"""

import shutil
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from slackwater.errors import SlackwaterError
from slackwater.facts.events import ShotRequested
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
REQUEST = "hand-1"
# Entries of the ledger that is copied, or in which a request waits.
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


def _for_take_back(folder: Path) -> None:
    stage = stage_of(folder)
    stage.append(kept(1), _asked(stage))


def _asked(stage: Stage) -> ShotRequested:
    """A dose that waits."""
    stamp = stage.stamp()
    return ShotRequested(
        **stamp,
        request=REQUEST,
        pump="carbonate",
        volume_ul=2000,
        until=stamp["at"] + timedelta(minutes=30),
        by="keeper",
        purpose="manual",
    )


def _took_back(folder: Path, say: Say) -> str:
    return _by_verb(folder, say, "take-back", REQUEST, "--by", "keeper")


def _waits_no_more(left: Left) -> list[str]:
    """Taken back as a whole or not at all, and then by the same words again."""
    stage = _stage(left.folder)
    try:
        if left.vouched and REQUEST in stage.folded().requests:
            return ["it was vouched for and still waits"]
    except SlackwaterError as error:
        return [str(error)]
    found = whole(replace(left, folder=stage.state), ENTRIES, [1])
    told = stage.run("take-back", REQUEST, "--by", "keeper")
    if told.code or stage.folded().requests:
        return [*found, f"it cannot be taken back any more: {told.err}"]
    return found


ERRANDS = (
    Act(name="backup", prepare=_for_backup, live=_backed_up, look=_is_backup),
    Act(name="restore", prepare=_for_restore, live=_restored, look=_is_back),
    Act(
        name="take back what was asked for",
        prepare=_for_take_back,
        live=_took_back,
        look=_waits_no_more,
    ),
)
