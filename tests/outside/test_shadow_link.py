"""The shadow link behaves like a node and can send nothing."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import NotConnectedError
from slackwater.facts.messages import Beat, Channel, Result, RunPump, StopPump
from slackwater.outside import shadow_link
from slackwater.outside.shadow_link import ShadowLink
from slackwater.ports import PumpLink
from tests.outside.samples import COMMAND, SetClock, beat

DAY_S = 86400.0


@pytest.fixture
def clock() -> SetClock:
    """A clock that stands at the moment of the first beat."""
    return SetClock()


@pytest.fixture
def link(clock: SetClock) -> ShadowLink:
    """A link that has heard one beat of the node."""
    heard = ShadowLink(clock)
    heard.overlay(beat())
    return heard


def real_beat(at_s: float, **channel: object) -> Beat:
    """What the real, untouched node says at a moment."""
    shown = beat(heard_boot_s=at_s, up=123456 + round((at_s - 1000.0) * 1000))
    idle = Channel(n=4, state="idle", odo_ul=12000, odo_ms=7260, budget_ul=88000)
    return replace(shown, channels={"a": replace(idle, **channel)})  # type: ignore[arg-type]  # a table of cases


def results(link: ShadowLink, now_s: float) -> list[tuple[str, str, int, int]]:
    """Phase, reason, milliseconds and microlitres of what has become due."""
    return [
        (result.phase, result.reason, result.ran_ms, result.ul)
        for result in link.due(now_s)
        if isinstance(result, Result)
    ]


def test_shadow_link_fits_its_port(link: ShadowLink) -> None:
    """The adapter has the shape the loop expects."""
    port: PumpLink = link
    assert port.run(COMMAND)


def test_module_knows_no_wire() -> None:
    """It imports records, errors and ports only: nothing that could publish."""
    tree = ast.parse(Path(shadow_link.__file__).read_text())
    imported = {
        node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
    }
    plain = [node for node in ast.walk(tree) if isinstance(node, ast.Import)]
    assert {
        "dataclasses",
        "slackwater.errors",
        "slackwater.facts.messages",
        "slackwater.ports",
    } == imported
    assert plain == []


def test_run_is_taken_at_once_and_ends_after_its_time(link: ShadowLink) -> None:
    """The answers come when a node would give them, each once."""
    link.run(COMMAND)
    assert results(link, 1000.0) == [("taken", "", 0, 0)]
    assert results(link, 1001.2) == []
    assert results(link, 1001.21) == [("ended", "complete", 1210, 2000)]
    assert results(link, 2000.0) == []


def test_results_carry_what_the_command_said(link: ShadowLink) -> None:
    """Identity, number, calibration and the node's uptime are a node's answers."""
    link.run(COMMAND)
    taken, ended = link.due(1002.0)
    assert isinstance(taken, Result)
    assert isinstance(ended, Result)
    assert (COMMAND.attempt, COMMAND.boot, "a", 4, "77aa01cf", 123456) == (
        taken.id,
        taken.boot,
        taken.channel,
        taken.n,
        taken.cal,
        taken.up,
    )
    assert 123456 + 1210 == ended.up


def test_beat_during_a_run_shows_it_running(link: ShadowLink) -> None:
    """The number has moved, the budget is taken, the odometer not yet."""
    link.run(COMMAND)
    shown = link.overlay(real_beat(1001.0)).channels["a"]
    assert (5, "running", 12000, 7260, 86000, None) == (
        shown.n,
        shown.state,
        shown.odo_ul,
        shown.odo_ms,
        shown.budget_ul,
        shown.last,
    )


def test_beat_after_a_run_shows_its_end(link: ShadowLink) -> None:
    """Odometer and last run are what the settling rules look at."""
    link.run(COMMAND)
    shown = link.overlay(real_beat(1002.0)).channels["a"]
    assert shown.last is not None
    assert (5, "idle", 14000, 8470, 86000) == (
        shown.n,
        shown.state,
        shown.odo_ul,
        shown.odo_ms,
        shown.budget_ul,
    )
    assert (COMMAND.attempt, 2000, 1210, "complete", "77aa01cf") == (
        shown.last.id,
        shown.last.ul,
        shown.last.ran_ms,
        shown.last.reason,
        shown.last.cal,
    )


def test_untouched_channel_passes_as_it_is(link: ShadowLink) -> None:
    """Without a simulated run the beat is the node's own."""
    shown = real_beat(1005.0)
    assert shown == link.overlay(shown)


def test_real_fault_is_not_hidden(link: ShadowLink) -> None:
    """A simulated run covers nothing but `idle`."""
    link.run(COMMAND)
    shown = link.overlay(real_beat(1001.0, state="fault")).channels["a"]
    assert shown.state == "fault"


def test_real_runs_count_on(link: ShadowLink, clock: SetClock) -> None:
    """What the node really did meanwhile is added to what was imagined."""
    link.run(COMMAND)
    clock.boot_s = 1005.0
    shown = link.overlay(real_beat(1005.0, n=6, odo_ul=15000)).channels["a"]
    assert (7, 17000) == (shown.n, shown.odo_ul)
    assert link.run(replace(COMMAND, attempt="1" * 32, n=7, until_up=140000))
    assert ("taken", "", 0, 0) in results(link, 1005.0)


def test_reboot_begins_anew(link: ShadowLink) -> None:
    """With a new boot the imagined counts are gone, and so is the open run."""
    link.run(COMMAND)
    link.due(1000.0)
    rebooted = replace(real_beat(1001.0, n=0, odo_ul=0), boot="0" * 16, up=500)
    assert rebooted == link.overlay(rebooted)
    assert results(link, 2000.0) == []


def test_a_late_beat_of_the_boot_before_forgets_no_imagined_run(
    link: ShadowLink,
) -> None:
    """The number of the boot that runs now must not seem to have gone back."""
    link.run(COMMAND)
    link.overlay(real_beat(1005.0))
    link.overlay(replace(real_beat(1006.0), boot="0" * 16))
    shown = link.overlay(real_beat(1007.0)).channels["a"]
    assert (5, 14000, 86000) == (shown.n, shown.odo_ul, shown.budget_ul)


def test_a_node_that_boots_again_and_again_is_remembered_for_a_while(
    link: ShadowLink,
) -> None:
    """Nine boots later nothing is imagined of the first any more."""
    link.run(COMMAND)
    for boot in range(9):
        link.overlay(replace(real_beat(1010.0 + boot), boot=f"{boot:016x}"))
    assert 4 == link.overlay(real_beat(1020.0)).channels["a"].n


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        (replace(COMMAND, boot="0" * 16), "boot"),
        (replace(COMMAND, fence=2), "fence"),
        (replace(COMMAND, n=3), "number"),
        (replace(COMMAND, n=5), "number"),
        (replace(COMMAND, until_up=123455), "late"),
        (replace(COMMAND, ul=88001), "budget"),
        (replace(COMMAND, channel="b"), "form"),
        # The first reason in the node's order is told.
        (replace(COMMAND, boot="0" * 16, n=9, until_up=0), "boot"),
    ],
)
def test_refuses_as_a_node_would(link: ShadowLink, wrong: RunPump, word: str) -> None:
    """A command the real node would refuse is refused in imagination too."""
    link.run(wrong)
    assert results(link, 2000.0) == [("refused", word, 0, 0)]
    assert link.overlay(real_beat(1002.0)).channels["a"].n == 4


@pytest.mark.parametrize(
    ("at_node", "word"),
    [
        (replace(real_beat(1000.0), hold=True), "held"),
        (real_beat(1000.0, state="held"), "held"),
        (real_beat(1000.0, state="fault"), "held"),
        (real_beat(1000.0, state="starting"), "held"),
        (real_beat(1000.0, state="running"), "busy"),
    ],
)
def test_refuses_what_the_real_state_forbids(
    link: ShadowLink, at_node: Beat, word: str
) -> None:
    """The real node's hold, fault and run count in the shadow."""
    link.overlay(at_node)
    link.run(COMMAND)
    assert results(link, 2000.0) == [("refused", word, 0, 0)]


def test_one_run_at_a_time(link: ShadowLink) -> None:
    """While one run is imagined the node is busy."""
    link.run(COMMAND)
    link.run(replace(COMMAND, attempt="1" * 32, n=5))
    assert results(link, 1000.0) == [("taken", "", 0, 0), ("refused", "busy", 0, 0)]


@pytest.mark.parametrize("channel", ["", "a"])
def test_stop_ends_a_run_in_part(
    link: ShadowLink, clock: SetClock, channel: str
) -> None:
    """Half the time gives half the volume, and the run is stopped."""
    link.run(COMMAND)
    clock.boot_s = 1000.605
    link.stop(StopPump(node="left", channel=channel))
    assert results(link, 1000.605) == [
        ("taken", "", 0, 0),
        ("ended", "stopped", 605, 1000),
    ]


def test_stop_of_another_channel_changes_nothing(link: ShadowLink) -> None:
    """A stop means its own channel."""
    link.run(COMMAND)
    link.stop(StopPump(node="left", channel="b"))
    link.stop(StopPump(node="right"))
    assert ("ended", "complete", 1210, 2000) in results(link, 1002.0)


def test_hold_at_the_node_stops_the_run(link: ShadowLink) -> None:
    """A held node ends what runs, and so does the imagined one."""
    link.run(COMMAND)
    link.overlay(replace(real_beat(1000.605), hold=True))
    assert ("ended", "stopped", 605, 1000) in results(link, 1000.605)


def test_unheard_node_is_not_connected(clock: SetClock) -> None:
    """Without a beat there is nothing to imagine a run on."""
    link = ShadowLink(clock)
    with pytest.raises(NotConnectedError):
        link.run(COMMAND)
    assert [] == link.due(clock.boot_s)


def test_late_copy_of_a_beat_does_not_turn_time_back(
    link: ShadowLink, clock: SetClock
) -> None:
    """The node's uptime is taken from its newest beat."""
    link.overlay(real_beat(1030.0))
    link.overlay(replace(beat(), heard_boot_s=1031.0))
    clock.boot_s = 1031.0
    link.run(replace(COMMAND, until_up=123456 + 30_500))
    assert results(link, 1031.0) == [("refused", "late", 0, 0)]


def dose_daily(link: ShadowLink, clock: SetClock, days: int) -> list[Channel]:
    """One dose a day with a beat before and after; the channel after each."""
    seen = []
    for day in range(days):
        clock.boot_s = 1000.0 + day * DAY_S
        before = link.overlay(real_beat(clock.boot_s)).channels["a"]
        link.run(
            replace(
                COMMAND,
                attempt=f"{day:032x}",
                n=before.n,
                until_up=123456 + round(day * DAY_S * 1000) + 8000,
            )
        )
        link.due(clock.boot_s + 10.0)
        seen.append(link.overlay(real_beat(clock.boot_s + 10.0)).channels["a"])
    return seen


def test_counts_stay_right_over_days(link: ShadowLink, clock: SetClock) -> None:
    """Old runs leave the budget's slots and stay in number and odometer."""
    seen = dose_daily(link, clock, 5)
    assert [5, 6, 7, 8, 9] == [channel.n for channel in seen]
    assert [14000, 16000, 18000, 20000, 22000] == [c.odo_ul for c in seen]
    # A run of exactly a day ago still stands in the 24 slots before the running one.
    assert [86000, 84000, 84000, 84000, 84000] == [c.budget_ul for c in seen]


@given(st.lists(st.integers(0, 4000), max_size=12))
def test_number_moves_exactly_with_taken_runs(waits_ms: list[int]) -> None:
    """Whenever commands come, the number rises by one for each that was taken."""
    clock = SetClock()
    link = ShadowLink(clock)
    shown = link.overlay(real_beat(clock.boot_s)).channels["a"]
    taken = 0
    for index, wait_ms in enumerate(waits_ms):
        clock.boot_s += wait_ms / 1000
        link.run(replace(COMMAND, attempt=f"{index:032x}", n=shown.n, until_up=10**9))
        taken += sum(phase == "taken" for phase, *_ in results(link, clock.boot_s))
        shown = link.overlay(real_beat(clock.boot_s)).channels["a"]
        assert 4 + taken == shown.n
