"""The table of interlocks on inputs, the words of scopes, and bypasses."""

from datetime import timedelta
from typing import get_args

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.limits import Role
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import BypassEnded, BypassGranted
from slackwater.facts.tank import Solution
from slackwater.gate.bypass import BYPASS_AT_MOST, BYPASSABLE
from slackwater.gate.interlocks import is_held
from slackwater.gate.kinds import kinds_of
from slackwater.gate.scopes import WORDS, reaches
from slackwater.gate.watches import (
    FAMILIES,
    WATCHES,
    doubting,
    hearing,
    looking,
    refusing,
)
from tests.gate.scene import PROBE, dkh
from tests.gate.watched import (
    ALKALINE,
    EXTRAS,
    HOUR,
    LINES,
    MINUTE,
    PUMPS,
    RAISING,
    Watched,
    switch,
    watched_machine,
)

REACHED = {
    "all": LINES,
    "tank/reef": LINES,
    "node/shelf": LINES,
    "pump/soda": {"soda"},
    "water/reef": LINES,
    "alkalinity/reef": ALKALINE,
    "hydroxide/reef": {"lye"},
    "carbonate/reef": {"soda"},
    "raising/reef": RAISING,
    "carbon/reef": {"food"},
    "corrections/reef": {"raise"},
    "minerals/reef": {"raise"},
    "extras/reef": EXTRAS,
    "treated/reef": EXTRAS | {"iodine"},
    "water/other": set(),
    "tank/other": set(),
    "nonsense/reef": set(),
    "": set(),
}


@pytest.mark.parametrize("scope", REACHED)
def test_each_scope_reaches_what_it_names(scope: str) -> None:
    """Every word there is, and none that is not."""
    water = Watched(watched_machine())
    found = {line for line in PUMPS if reaches(scope, water.asked(line))}
    assert set(REACHED[scope]) == found


def test_every_word_of_a_scope_is_tried() -> None:
    """No word is missing above."""
    assert set(WORDS) == {scope.split("/")[0] for scope in REACHED} - {"nonsense", ""}


@pytest.mark.parametrize(
    ("solution", "kinds"),
    [
        (Solution(id="x", name="x", ions=("Ca", "OH"), hydroxide=True), {"hydroxide"}),
        (
            Solution(id="x", name="x", effects={"alkalinity": 1}),
            {"carbonate"},
        ),
        (
            Solution(id="x", name="x", effects={"alkalinity": 1}, hydroxide=True),
            {"hydroxide"},
        ),
        (
            Solution(id="x", name="x", effects={"alkalinity": 1}, bicarbonate=True),
            set(),
        ),
        (
            Solution(id="x", name="x", effects={"alkalinity": 1}, ions=("CO3", "HCO3")),
            {"carbonate"},
        ),
        (Solution(id="x", name="x", effects={"iron": 1}), {"mineral", "trace"}),
        (Solution(id="x", name="x", effects={"nitrate": 1}), set()),
    ],
)
def test_a_solution_is_what_it_may_be(solution: Solution, kinds: set[str]) -> None:
    """A label that names alkalinity counts as carbonate unless it says otherwise."""
    assert kinds == kinds_of(solution)


def test_each_row_does_one_thing_and_has_a_name() -> None:
    """It stops while it lasts, raises holds, or shortens; names are told once."""
    names = [row.name for row in WATCHES]
    assert sorted(set(names)) == sorted(names)
    for row in WATCHES:
        ways = [row.refuses, row.looks, row.hears, row.doubts]
        assert 1 == sum(way is not None for way in ways), row.name
        raises = row.looks is not None or row.hears is not None
        assert row.clears is None or raises
        assert row.scope in WORDS, row.name
        assert row.about.endswith(".")
        assert ("shortens" if row.doubts else "stops") == row.effect
        assert raises == (row.lasting != "moment")
    latched = {row.name for row in WATCHES if row.lasting == "latched"}
    too_much = {f"alkalinity-{name}" for name in ("climb", "swing-up", "dose-fault")}
    assert {"leak", "power"} | too_much == latched


def test_every_role_has_a_row() -> None:
    """No switch can be configured that nobody looks at."""
    looked = {row.needs for row in looking(frozenset(get_args(Role)))}
    assert set(get_args(Role)) == looked - {"ph"}


def test_nothing_configured_leaves_only_what_people_wrote() -> None:
    """Rows that need an input are not there without it."""
    nothing: frozenset[str] = frozenset()
    ways = (looking, hearing, doubting, refusing)
    assert () == looking(nothing)
    assert {""} == {row.needs for way in ways for row in way(nothing)}
    # A verdict on tests by hand needs no probe.
    assert {"alkalinity"} == {
        row.scope for row in (*hearing(nothing), *doubting(nothing))
    }
    everything = frozenset({row.needs for row in WATCHES} - {""})
    assert set(WATCHES) == {row for way in ways for row in way(everything)}


def test_h59_a_family_is_left_aside_together_and_each_row_by_itself() -> None:
    """Low alkalinity and no pH: one name for all that alkalinity lacks, or its own."""
    (low,) = [row for row in WATCHES if row.name == "alkalinity-floor"]
    assert FAMILIES.keys() == {row.family for row in WATCHES} - {""}
    for name, expected in (
        ("alkalinity-floor", {}),
        (low.family, {}),
        ("alkalinity-unknown", dict.fromkeys(ALKALINE, 80)),
    ):
        water = Watched(watched_machine(PROBE))
        water.pass_time(MINUTE)
        water.read("kh", dkh(6.4))
        assert dict.fromkeys(ALKALINE, 80) == water.shares
        bypass(water, name)
        assert expected == water.shares


def bypass(
    water: Watched,
    interlock: str,
    scope: str = "tank/reef",
    lasts: timedelta = 2 * HOUR,
) -> None:
    """A person leaves an interlock aside."""
    granted = BypassGranted(
        **water.stamp,
        interlock=interlock,
        scope=scope,
        until=water.at.now.utc + lasts,
        why="test",
        by="keeper",
    )
    water.write(granted)


def basic() -> Watched:
    """A pH of 8.7, which holds hydroxide and carbonate."""
    water = Watched(watched_machine("ph"))
    water.pass_time(MINUTE)
    water.read("ph", 8.7)
    return water


def test_h59_a_bypass_reaches_its_interlock_and_scope_alone() -> None:
    """Carbonate goes on, hydroxide has another interlock, other pumps are not named."""
    water = basic()
    bypass(water, "ph-carbonate")
    assert {"lye"} == water.stopped
    assert not is_held(water.at, water.asked("soda"))
    elsewhere = basic()
    bypass(elsewhere, "ph-carbonate", "pump/lye")
    assert RAISING == elsewhere.stopped
    own = basic()
    bypass(own, "ph-carbonate", "pump/soda")
    assert {"lye"} == own.stopped
    everywhere = basic()
    bypass(everywhere, "ph-carbonate", "all")
    assert {"lye"} == everywhere.stopped


def test_h59_a_bypass_ends_by_itself() -> None:
    """To the second, with an entry; the hold still stands and stops again."""
    water = basic()
    bypass(water, "ph-carbonate")
    water.pass_time(2 * HOUR - MINUTE / 60)
    assert "soda" not in water.stopped
    water.pass_time(MINUTE / 60)
    assert "soda" in water.stopped
    (ended,) = [event for event in water.events if isinstance(event, BypassEnded)]
    assert ("ph-carbonate", "daemon") == (ended.interlock, ended.by)
    assert {} == water.at.state.bypasses


def test_h59_no_bypass_lasts_longer_than_four_hours() -> None:
    """Whatever an entry says."""
    water = basic()
    bypass(water, "ph-carbonate", lasts=30 * 24 * HOUR)
    water.pass_time(BYPASS_AT_MOST - MINUTE)
    assert "soda" not in water.stopped
    water.pass_time(MINUTE)
    assert "soda" in water.stopped


def test_h59_a_bypass_that_has_not_begun_is_none() -> None:
    """A clock that was put back makes it no longer."""
    water = basic()
    bypass(water, "ph-carbonate")
    water.pass_time(-HOUR)
    assert "soda" in water.stopped


@pytest.mark.parametrize(
    "name",
    ["cap-per-dose", "clock", "node", "approval", "holds", "manual-hold", "start"],
)
def test_h59_caps_and_proofs_are_never_left_aside(name: str) -> None:
    """An entry that names one changes nothing."""
    assert name not in BYPASSABLE
    water = Watched(watched_machine())
    raised = HoldRaised(
        **water.stamp,
        hold_id=f"{name}/1",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )
    water.write(raised)
    bypass(water, name, "all")
    assert set(LINES) == water.stopped


def test_h59_shortening_can_be_left_aside_as_well() -> None:
    """A thermometer that is being cleaned."""
    water = Watched(watched_machine("warm"))
    water.pass_time(HOUR)
    assert 80 == water.shares["soda"]
    bypass(water, "temperature-unknown")
    assert {} == water.shares


def test_h59_what_refuses_while_it_lasts_can_be_left_aside() -> None:
    """Hydroxide without a pH probe, while somebody stands beside it."""
    water = Watched(watched_machine("ph"))
    water.pass_time(HOUR)
    assert {"lye"} == water.stopped
    bypass(water, "ph-unknown")
    assert set() == water.stopped


def test_h59_a_bypassed_switch_stops_nothing() -> None:
    """A return pump that is off for cleaning."""
    one = switch("return-pump", hold_at_least_s=600.0)
    water = Watched(watched_machine(switches=(one,)))
    water.say("return-pump", is_on=False)
    assert set(LINES) == water.stopped
    bypass(water, "return-pump")
    assert set() == water.stopped
    assert ["return-pump/return-pump"] == water.holds
