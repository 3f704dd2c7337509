"""What the daemon writes down for people who ask why."""

from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.reasons import Code
from slackwater.outside.glimpse import PumpGlimpse
from slackwater.service.glimpsing import glimpse_of
from slackwater.service.loop import take_news
from slackwater.service.memory import Memory
from tests.alarms.manned import MINUTE_MS, QUIET_MS, Manned
from tests.alarms.strikes import held, node_dies, probe_dies
from tests.cli.stage import stage_of
from tests.service.test_alarms import rig_of

CARBONATE = "reef/carbonate"


@pytest.fixture
def house(tmp_path: Path) -> Manned:
    """The house of the stories, quiet, between two doses."""
    made = Manned(tmp_path)
    made.pass_ms(QUIET_MS + 5 * MINUTE_MS)
    return made


def seen(house: Manned) -> PumpGlimpse:
    """What is said of the carbonate line."""
    return glimpse_of(house.rig).lines[CARBONATE]


def drained(house: Manned) -> list[str]:
    """The chores that wait, taken away."""
    chores = house.rig.chores
    return [chores.get_nowait() for _ in range(chores.qsize())]


def test_a_sound_house_would_dose_whole(house: Manned) -> None:
    """Three millilitres, for no reason less; the rest is what is in view."""
    found = glimpse_of(house.rig)
    assert (3000, 3000, (), ()) == (
        seen(house).asked_ul,
        seen(house).volume_ul,
        seen(house).refused,
        seen(house).shortened,
    )
    node, probe = found.nodes["shelf"], found.probes["kh"]
    assert 0 <= node.beat_age_s <= 5
    assert {"a", "b", "c"} == set(node.channels)
    assert "idle" == node.channels["a"][0]
    assert house.rig.sight.readings["kh"][-1].at == probe.taken_at
    assert (True, True, True) == (
        found.synchronised,
        found.observe_up,
        found.actuate_up,
    )


def test_the_gates_own_reasons_are_written_down(house: Manned) -> None:
    """A node that is silent refuses, with the age of its last beat."""
    node_dies(house)
    house.pass_ms(MINUTE_MS)
    codes = [reason.code for reason in seen(house).refused]
    assert [Code.NODE_ABSENT] == codes


def test_a_link_that_goes_is_written_down_at_once_with_its_time(house: Manned) -> None:
    """Since when stays the same while it lasts, and is gone when the link is back."""
    rig, at = house.rig, glimpse_of(house.rig).at
    assert None is glimpse_of(rig).cut_since
    for up, cut in ((False, True), (True, False)):
        drained(house)
        rig.sight.actuate_up = up
        rig.look_at_links(at, told=False)
        rig.look_at_links(at + timedelta(minutes=1), told=False)
        assert ["glimpse", "show"] == drained(house)
        assert (at if cut else None) == glimpse_of(rig).cut_since


def test_what_is_not_known_shortens(house: Manned) -> None:
    """A probe that is silent makes the dose smaller and keeps nothing."""
    probe_dies(house)
    found = seen(house)
    assert [Code.ALKALINITY_STALE] == [reason.code for reason in found.shortened]
    assert () == found.refused
    assert 0 < found.volume_ul < 3000


def test_holds_are_left_to_the_ledger(house: Manned) -> None:
    """A reader sees them there as of now, and not as of a minute ago."""
    held(Code.MANUAL_HOLD, "pump/carbonate")(house)
    house.pass_ms(MINUTE_MS)
    assert () == seen(house).refused


def test_what_people_write_down_is_explained_without_a_minutes_wait(
    tmp_path: Path,
) -> None:
    """A test is news to whoever asks why; a hold stands in the ledger anyway."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        rig = rig_of(stage, memory)
        for words, expected in (
            (("record", "alkalinity=8.1 dKH", "--by", "keeper"), True),
            (("hold", "--by", "keeper"), False),
        ):
            assert 0 == stage.run(*words).code
            take_news(rig)
            waiting = [rig.chores.get_nowait() for _ in range(rig.chores.qsize())]
            assert expected == ("glimpse" in waiting)
