"""The state a start reads is the state that was left."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

from slackwater.facts.events import AnyEvent, DoseEnded
from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from slackwater.facts.waters import WaterChanged
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries
from slackwater.service.memory import LIVE_NAME, Memory
from tests.ledger.samples import (
    NOON,
    checkpoint,
    clocks,
    intended,
    kept,
    new_ledger,
)


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


def told(memory: Memory, path: Path, *events: AnyEvent) -> None:
    """Somebody else writes something down, and the daemon reads it."""
    with closing(LedgerFile.open(path)) as ledger:
        ledger.append(events)
    memory.news()


def filled(seconds: float) -> ReservoirFilled:
    """The bottle was filled."""
    at = clocks(seconds)
    return ReservoirFilled(
        **at, reservoir="soda", content_ul=500_000, mixed_at=at["at"], by="keeper"
    )


def level(seconds: float) -> LevelMeasured:
    """All of it is there still."""
    at = clocks(seconds)
    return LevelMeasured(
        **at,
        reservoir="soda",
        volume_ul=500_000,
        within_ul=5_000,
        measured_at=at["at"],
        pumps=("left",),
        by="keeper",
    )


def given(ordinal: int, reason: str = "complete") -> list[AnyEvent]:
    """A dose that was imagined, and how it ended."""
    intent = intended(ordinal)
    believed_ul = intent.command.ul if reason == "complete" else 300
    ended = DoseEnded(
        **clocks(ordinal + 0.5),
        attempt=intent.command.attempt,
        how="full" if reason == "complete" else "stopped",
        believed_ul=believed_ul,
        charge_ul=intent.command.ul,
        source="reported",
        ran_ms=1210,
    )
    return [intent, ended]


def test_imagined_runs_draw_nothing_of_a_bottle_and_wear_no_tube(
    tmp_path: Path,
) -> None:
    """What is filled and read in shadow is a true bottle, before and after a start."""
    path = tmp_path / LIVE_NAME
    new_ledger(path, [kept(1)]).close()
    with closing(Memory(tmp_path, "shadow")) as memory:
        memory.open()
        told(memory, path, filled(2))
        memory.append(given(3))
        memory.append(given(4, "stopped"))
        told(memory, path, level(10))
        left = memory.state
        assert 2 == len(left.closed)
        (interval,) = left.intervals["soda"]
        assert (0, 0, 0) == (interval.used_ul, interval.believed_ul, interval.runs)
        assert [0, 0, 0] == [
            known["left"] for known in (left.drawn_ul, left.runs, left.run_ms)
        ]
    with closing(Memory(tmp_path, "shadow")) as memory:
        memory.open()
        assert left.intervals == memory.state.intervals
        assert 0 == memory.state.drawn_ul["left"]


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
