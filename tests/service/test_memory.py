"""The state a start reads is the state that was left."""

from contextlib import closing
from pathlib import Path

from slackwater.service.memory import LIVE_NAME, Memory
from tests.ledger.samples import checkpoint, kept, new_ledger


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
