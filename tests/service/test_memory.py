"""The state a start reads is the state that was left."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

from slackwater.facts.waters import WaterChanged
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries
from slackwater.service.memory import LIVE_NAME, Memory
from tests.ledger.samples import NOON, checkpoint, clocks, kept, new_ledger


def test_h39_a_start_knows_the_time_of_the_checkpoint_it_begins_with(
    tmp_path: Path,
) -> None:
    """A clock behind the newest entry is seen, also where that is the state itself."""
    new_ledger(tmp_path / LIVE_NAME, [kept(1)]).close()
    with closing(Memory(tmp_path, "live")) as memory:
        memory.open()
        memory.append([checkpoint(memory.state_text(), 60)])
        left = memory.state
    with closing(Memory(tmp_path, "live")) as memory:
        memory.open()

        assert left.newest_at == memory.state.newest_at
        assert left == memory.state


def change(change_id: str, by: str) -> WaterChanged:
    """Some of the tank's water was changed."""
    return WaterChanged(
        **clocks(60),
        id=change_id,
        tank="reef",
        changed_at=NOON,
        volume_ul=150_000,
        by=by,
    )


def test_what_imagined_pumps_exchanged_never_happened_to_the_tank(
    tmp_path: Path,
) -> None:
    """In shadow two pumps move no water: their booking stands beside their doses."""
    new_ledger(tmp_path / LIVE_NAME, [kept(1)]).close()
    with closing(Memory(tmp_path, "shadow")) as memory:
        memory.open()
        memory.append([change("reef/daily-in@2026-05-03#01", "daemon")])
        assert ["reef/daily-in@2026-05-03#01"] == list(memory.state.changes)
        by_hand = change("w-1", "keeper")
        with closing(LedgerFile.open(tmp_path / LIVE_NAME)) as ledger:
            ledger.append([replace(by_hand, boot_s=61.0)])
        memory.news()
        left = memory.state
        assert ["w-1"] == list(left.changes)[1:]
    with closing(LedgerFile.open(tmp_path / LIVE_NAME)) as ledger:
        assert ["w-1"] == [
            entry.event.id
            for entry in entries(ledger)
            if isinstance(entry.event, WaterChanged)
        ]
    with closing(Memory(tmp_path, "shadow")) as memory:
        memory.open()
        assert left.changes == memory.state.changes
