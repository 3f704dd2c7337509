"""A view kept as an entry and laid out anew: what decides comes back."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from slackwater.facts.messages import Beat, Channel, CounterSeen, Reading, SwitchSeen
from slackwater.facts.now import Now
from slackwater.facts.seen_again import inputs_kept, lay_out, newest_readings
from slackwater.facts.sight import Sight, see
from tests.gate.scene import PROBE, machine

NOON = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
NOW = Now(utc=NOON, boot_s=900.0, boot_id="boot", synchronised=True)
MINUTE = timedelta(minutes=1)
HOUSE = replace(machine(), probes={"kh": PROBE})


def reading(ago_min: int, probe: str = "kh") -> Reading:
    """A reading so many minutes before noon."""
    return Reading(
        tank="reef",
        probe=probe,
        parameter="alkalinity",
        value=3.0 - ago_min / 100,
        at=NOON - ago_min * MINUTE,
    )


def seen() -> Sight:
    """A node, three readings, a switch and a counter; both links up."""
    sight = Sight(started_boot_s=10.0)
    sight.observe_up = sight.actuate_up = True
    sight.free_bytes, sight.scanned_until = 10**9, NOON - MINUTE
    channel = Channel(n=4, state="idle", odo_ul=12, odo_ms=0, budget_ul=99)
    beat = Beat(
        node="shelf",
        boot="9e1b" * 4,
        up=60_000,
        seq=0,
        hold=False,
        fence=1,
        hw="virtual-1",
        cfg="0badcafe",
        channels={"a": channel},
        heard_boot_s=890.0,
    )
    see(sight, beat)
    for ago_min in (30, 20, 10):
        see(sight, reading(ago_min))
    see(sight, SwitchSeen(tank="reef", switch="return", is_on=True, heard_boot_s=880.0))
    counted = CounterSeen(
        tank="reef", switch="refill", total_ul=40, at=NOON, heard_boot_s=880.0
    )
    see(sight, counted)
    sight.flawed["ph"] = "no number"
    return sight


def test_a_view_that_was_kept_is_laid_out_as_it_was_seen() -> None:
    """Links, nodes, readings, switches, counters, and what was refused."""
    sight, again = seen(), Sight(started_boot_s=10.0)
    lay_out(again, inputs_kept(NOW, sight, {}, 5), HOUSE)
    assert sight.readings == again.readings
    assert (sight.nodes, sight.switches) == (again.nodes, again.switches)
    for name in ("observe_up", "actuate_up", "free_bytes", "scanned_until", "flawed"):
        assert getattr(sight, name) == getattr(again, name)
    known = again.counters["refill"]
    assert (40, {NOON.date(): 0}) == (known.total_ul, known.days)


def test_only_news_of_a_probe_is_kept() -> None:
    """What an entry before kept is not kept again; without news there is none."""
    sight = seen()
    since = {"kh": NOON - 20 * MINUTE}
    kept = inputs_kept(NOW, sight, since, 5)
    assert {"kh": ((600_000_000, 2.9),)} == dict(kept.readings)
    assert {} == dict(inputs_kept(NOW, sight, newest_readings(sight), 5).readings)
    again = Sight(started_boot_s=10.0)
    lay_out(again, inputs_kept(NOW, sight, {}, 5), HOUSE)
    lay_out(again, replace(kept, observe_up=False), HOUSE)
    assert (sight.readings, False) == (again.readings, again.observe_up)


def test_a_probe_that_the_machine_no_longer_has_shows_nothing() -> None:
    """An approval of before named it; the others come back all the same."""
    sight = seen()
    see(sight, reading(5, "gone"))
    again = Sight(started_boot_s=10.0)
    lay_out(again, inputs_kept(NOW, sight, {}, 5), HOUSE)
    assert ["kh"] == list(again.readings)
