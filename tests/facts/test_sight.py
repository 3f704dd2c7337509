"""The view of the present: beats, links and readings move forward or not at all."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from slackwater.facts.events import ReadingKept
from slackwater.facts.messages import (
    Beat,
    Channel,
    LinkChanged,
    Reading,
    RetainedCommand,
    SpoiledReading,
)
from slackwater.facts.sight import READINGS_AT_MOST, Sight, remember, see

T0 = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
BEAT = Beat(
    node="shelf",
    boot="9e1b" * 4,
    up=60_000,
    seq=4,
    hold=False,
    fence=1,
    hw="virtual-1",
    cfg="0badcafe",
    channels={},
    heard_boot_s=500.0,
)
READING = Reading(tank="reef", probe="kh", parameter="alkalinity", value=2.9, at=T0)


def sight() -> Sight:
    """Nothing heard yet."""
    return Sight(started_boot_s=400.0)


def later(minutes: float, value: float = 2.9) -> Reading:
    """A reading so long after the first."""
    return replace(READING, at=T0 + timedelta(minutes=minutes), value=value)


def test_the_first_beat_begins_the_count() -> None:
    """What was not heard is absent; one beat is one."""
    seen = sight()
    assert {} == seen.nodes
    see(seen, BEAT)
    node = seen.nodes["shelf"]
    assert (BEAT, 500.0, 1) == (node.beat, node.first_heard_boot_s, node.beats)


def test_a_newer_beat_moves_the_view_on() -> None:
    """The count goes up and the first hearing stays."""
    seen = sight()
    newer = replace(BEAT, up=61_000, heard_boot_s=501.0)
    see(seen, BEAT)
    see(seen, newer)
    node = seen.nodes["shelf"]
    assert (newer, 500.0, 2) == (node.beat, node.first_heard_boot_s, node.beats)


def test_h15_a_copy_of_a_beat_neither_counts_nor_refreshes() -> None:
    """Delivered twice, heard once: a node that fell silent must not look alive."""
    seen = sight()
    see(seen, BEAT)
    see(seen, replace(BEAT, heard_boot_s=530.0))
    see(seen, replace(BEAT, up=59_000, heard_boot_s=531.0))
    assert (500.0, 1) == (
        seen.nodes["shelf"].beat.heard_boot_s,
        seen.nodes["shelf"].beats,
    )


def test_another_boot_begins_anew() -> None:
    """A node that restarted must be heard a few times again."""
    seen = sight()
    see(seen, BEAT)
    see(seen, replace(BEAT, up=70_000))
    see(seen, replace(BEAT, boot="cccc" * 4, up=100, heard_boot_s=510.0))
    node = seen.nodes["shelf"]
    assert (510.0, 1) == (node.first_heard_boot_s, node.beats)


def test_h26_a_late_copy_from_before_a_reboot_changes_nothing() -> None:
    """The node said so much and more before it rebooted: no second device speaks."""
    seen = sight()
    rebooted = replace(BEAT, boot="cccc" * 4, up=100, heard_boot_s=510.0)
    for beat in (BEAT, rebooted):
        see(seen, beat)
    known = seen.nodes["shelf"]
    for up in (59_000, 60_000):
        see(seen, replace(BEAT, up=up, heard_boot_s=520.0))
        assert known == seen.nodes["shelf"]


def test_h26_eight_earlier_boots_are_remembered() -> None:
    """The oldest goes, so that a node that keeps rebooting fills nothing."""
    seen = sight()
    boots = [f"{number:016x}" for number in range(12)]
    for boot in boots:
        see(seen, replace(BEAT, boot=boot))
    assert boots[3:11] == list(seen.nodes["shelf"].earlier)


def fallen(seen: Sight) -> list[str]:
    """What the view says of a node whose figures went back."""
    nodes = seen.nodes.values()
    return [one.contradiction.said for one in nodes if one.contradiction is not None]


def test_a_channel_that_is_new_in_a_beat_went_nowhere() -> None:
    """What was never told cannot have fallen; beside it a fall is still seen."""
    seen = sight()
    low, high = (
        Channel(n=number, state="idle", odo_ul=0, odo_ms=0, budget_ul=1)
        for number in (1, 2)
    )
    see(seen, replace(BEAT, channels={"b": high}))
    grown = replace(BEAT, up=61_000, channels={"a": low, "b": high})
    see(seen, grown)
    assert [] == fallen(seen)
    see(seen, replace(grown, up=62_000, channels={"c": low, "b": low}))
    assert ["number or odometer of b went back"] == fallen(seen)


def test_each_link_is_seen_by_itself() -> None:
    """Listening and commanding are two connections."""
    seen = sight()
    see(seen, LinkChanged(link="observe", up=True))
    assert (True, False) == (seen.observe_up, seen.actuate_up)
    see(seen, LinkChanged(link="actuate", up=True))
    see(seen, LinkChanged(link="observe", up=False))
    assert (False, True) == (seen.observe_up, seen.actuate_up)


def test_h48_readings_out_of_order_are_refused() -> None:
    """An older one, or one of the same moment, changes nothing."""
    seen = sight()
    for reading in (later(10), later(5), later(10, 9.9), later(15)):
        see(seen, reading)
    assert [later(10), later(15)] == seen.readings["kh"]


def test_readings_older_than_26_hours_are_forgotten() -> None:
    """Up to the newest one: the hour beyond a day is for hourly medians."""
    seen = sight()
    for minutes in (0, 1, 26 * 60):
        see(seen, later(minutes))
    assert 3 == len(seen.readings["kh"])
    see(seen, later(26 * 60 + 1))
    assert [later(1), later(26 * 60), later(26 * 60 + 1)] == seen.readings["kh"]


def test_a_lone_reading_replaces_one_of_last_week() -> None:
    """The newest always stays, however long the silence before it was."""
    seen = sight()
    see(seen, later(0))
    see(seen, later(7 * 24 * 60))
    assert [later(7 * 24 * 60)] == seen.readings["kh"]


def test_a_flood_of_readings_is_cut_to_the_newest() -> None:
    """2000 are kept of a probe that sends each second."""
    seen = sight()
    for second in range(READINGS_AT_MOST + 5):
        see(seen, later(second / 60))
    kept = seen.readings["kh"]
    assert (2000, later(5 / 60)) == (len(kept), kept[0])


def test_spoiled_readings_are_counted_by_probe() -> None:
    """The value is gone, the fact that there was one is not."""
    seen = sight()
    for probe in ("kh", "kh", "spare"):
        see(seen, SpoiledReading(tank="reef", probe=probe, why="no number"))
    assert {"kh": 2, "spare": 1} == seen.spoiled


def test_other_messages_pass_the_view_by() -> None:
    """What is for the ledger is no part of the present."""
    seen = sight()
    see(seen, RetainedCommand(node="shelf"))
    assert sight() == seen


def test_the_ledger_seeds_the_view_after_a_start() -> None:
    """Kept readings come back as they were heard."""
    seen = sight()
    kept = ReadingKept(
        at=T0 + timedelta(seconds=3),
        boot_s=1.0,
        proven_ms=1,
        tank="reef",
        probe="kh",
        parameter="alkalinity",
        value=2.9,
        taken_at=T0,
    )
    remember(seen, [kept])
    assert {"kh": [READING]} == seen.readings
