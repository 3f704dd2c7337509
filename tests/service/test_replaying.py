"""What was decided is decided the same again, from the ledger alone.

The scenarios and generated plans bring losses, restarts, clock steps, holds and swaps;
the replay has nothing but their entries.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import structlog

from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    Checkpoint,
    DoseIntended,
    DoseMissed,
    LedgerMade,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.inputs import InputsKept
from slackwater.facts.sight import see
from slackwater.facts.state import State
from slackwater.ledger.codec import dump_state, encode
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import newest_checkpoint
from slackwater.service.memory import LIVE_NAME
from slackwater.service.replaying import WARM_UP, Replay, replay, replayed
from tests.audit.simulated import Simulated, draw
from tests.properties.people import confirm_clock
from tests.properties.play import END_MS, set_up
from tests.properties.world import World, begin
from tests.service.test_loop import DAY_MS, MINUTE_MS, calm_world

EVER = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
SCENARIOS, LONG_SCENARIOS = 25, 1_500
PLANS = 4
# An entry of what two nodes with ten heads show, and a probe each minute for an hour.
BYTES_AT_MOST = 1024


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Not a word on the terminal."""
    only_worst = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=only_worst)
    yield
    structlog.reset_defaults()


def again(events: Sequence[AnyEvent]) -> Replay:
    """Everything decided in these entries, decided again."""
    return replay(events, *EVER)


@pytest.fixture(scope="module")
def lived() -> list[AnyEvent]:
    """The entries of a generated plan of two days."""
    only_worst = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=only_worst)
    stage = Simulated(*draw(0))
    stage.live_through()
    structlog.reset_defaults()
    return stage.book.events()


def decisions_of_scenarios(count: int) -> int:
    """Play so many scenarios and decide everything again; gives how much that was."""
    decided = 0
    for seed in range(count):
        world, _ = set_up(seed)
        world.run(END_MS)
        found = again(world.book.events())
        assert [] == found.differences, seed
        decided += found.decisions
    return decided


@pytest.mark.timeout(300)
def test_d7_decisions_under_faults_are_decided_the_same_again(
    tell: Callable[[str], None],
) -> None:
    """Scenarios with losses, restarts and clock steps: no field differs."""
    decided = decisions_of_scenarios(SCENARIOS)
    tell(f"{SCENARIOS} scenarios, {decided} decisions decided the same again")
    assert decided > SCENARIOS


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_d7_more_decisions_under_faults_are_decided_the_same_again(
    tell: Callable[[str], None],
) -> None:
    """The same many times more."""
    decided = decisions_of_scenarios(LONG_SCENARIOS)
    tell(f"{LONG_SCENARIOS} scenarios, {decided} decisions decided the same again")


@pytest.mark.parametrize("seed", range(PLANS))
def test_d7_generated_plans_are_decided_the_same_again(seed: int) -> None:
    """Each dose of two days was one decision, and each entry keeps to its size."""
    stage = Simulated(*draw(seed))
    stage.live_through()
    events = stage.book.events()
    found = again(events)
    assert [] == found.differences
    decisions = [e for e in events if isinstance(e, DoseIntended | DoseMissed)]
    assert found.decisions >= len(decisions) > 0
    kept = [len(encode(e)) for e in events if isinstance(e, InputsKept)]
    assert max(kept) <= BYTES_AT_MOST


def first_intent(events: list[AnyEvent]) -> tuple[int, DoseIntended]:
    """The first dose of these entries and its place."""
    for place, event in enumerate(events):
        if isinstance(event, DoseIntended):
            return place, event
    message = "nothing was dosed"
    raise AssertionError(message)


def test_a_decision_that_this_version_would_not_make_is_told(
    lived: list[AnyEvent],
) -> None:
    """A microlitre more, a millisecond less, another deadline: each is a difference."""
    place, intent = first_intent(lived)
    command = intent.command
    for other in (
        replace(command, ul=command.ul + 1),
        replace(command, ms=command.ms - 1),
        replace(command, until_up=command.until_up + 1),
    ):
        changed = [*lived]
        changed[place] = replace(intent, command=other)
        (one,) = again(changed).differences
        assert intent.dose.id == one.dose
        assert f"{other.ul} uL in {other.ms} ms" in one.then
        assert f"{command.ul} uL in {command.ms} ms" in one.now


def test_other_inputs_bring_another_decision(lived: list[AnyEvent]) -> None:
    """Each input that is kept counts: without it the dose would not have been given."""
    place, intent = first_intent(lived)
    kept = lived[place - 1]
    assert isinstance(kept, InputsKept)
    node = kept.nodes[intent.command.node]
    spoiled = (
        replace(kept, synchronised=False),
        replace(kept, actuate_up=False),
        replace(kept, free_bytes=0),
        replace(kept, nodes={}),
        replace(kept, nodes={intent.command.node: replace(node, hold=True)}),
        replace(kept, nodes={intent.command.node: replace(node, beats=0)}),
        replace(kept, nodes={intent.command.node: replace(node, heard_s=0.0)}),
        replace(kept, nodes={intent.command.node: replace(node, channels={})}),
    )
    for one in spoiled:
        changed = [*lived]
        changed[place - 1] = one
        found = again(changed)
        assert intent.dose.id in {other.dose for other in found.differences}, one


def test_a_replay_may_begin_at_a_checkpoint(lived: list[AnyEvent]) -> None:
    """From the folded state on, as a daemon starts; what came before is not read."""
    places = [i for i, event in enumerate(lived) if isinstance(event, InputsKept)]
    cut = places[len(places) // 2]
    state = fold_all(State(), lived[:cut])
    last = lived[cut - 1]
    checkpoint = Checkpoint(
        at=last.at,
        boot_s=last.boot_s,
        proven_ms=last.proven_ms,
        state=dump_state(state),
    )
    found = again([checkpoint, *lived[cut:]])
    assert [] == found.differences
    assert 0 < found.decisions < again(lived).decisions


def test_a_ledger_is_read_from_the_checkpoint_before(
    lived: list[AnyEvent], tmp_path: Path
) -> None:
    """One that lies thirty hours back or more: by then the view is the daemon's own."""
    places = [i for i, event in enumerate(lived) if isinstance(event, InputsKept)]
    cut = places[len(places) // 8]
    last, made = lived[cut - 1], lived[0]
    checkpoint = Checkpoint(
        at=last.at,
        boot_s=last.boot_s,
        proven_ms=last.proven_ms,
        state=dump_state(fold_all(State(), lived[:cut])),
    )
    assert isinstance(made, LedgerMade)
    with LedgerFile.create(tmp_path / LIVE_NAME, made) as ledger:
        ledger.append([*lived[1:cut], checkpoint, *lived[cut:]])
        since = last.at + WARM_UP + timedelta(seconds=1)
        assert cut + 1 == newest_checkpoint(ledger, since - WARM_UP)
        assert 1 == newest_checkpoint(ledger, last.at)
        found = replayed(ledger, since, EVER[1])
    assert [] == found.differences
    assert replay(lived, since, EVER[1]).decisions == found.decisions > 0


def see_from_ahead(world: World, value: float | None = None) -> None:
    """Ten days ahead for a while, each probe is read as of then; then time is right."""
    world.kill(MINUTE_MS)
    world.times.shift_ms += 10 * DAY_MS
    world.run(world.times.t_ms + 5 * MINUTE_MS)
    assert world.daemon is not None
    rig, ahead = world.daemon.rig, world.times.now().utc
    for series in list(rig.sight.readings.values()):
        said = series[-1].value if value is None else value
        see(rig.sight, replace(series[-1], at=ahead, value=said))
    world.run(world.times.t_ms + 10 * MINUTE_MS)
    assert ahead in rig.kept_until.values()
    world.times.shift_ms -= 10 * DAY_MS


def test_h38_a_clock_put_right_is_decided_the_same_again() -> None:
    """A probe without a clock of its own had spoken of too much from ten days ahead."""
    world = calm_world()
    see_from_ahead(world, value=99.0)
    world.run(world.times.t_ms + MINUTE_MS)
    confirm_clock(world)
    world.run(world.times.t_ms + DAY_MS)
    found = again(world.book.events())
    assert [] == found.differences
    assert found.decisions > 10


def probed_world() -> World:
    """The first scenario that doses, with a probe in view and nothing held."""
    for seed in range(100):
        world = begin(seed)
        world.run(2 * MINUTE_MS)
        if world.daemon is None or world.book.folded().holds or not world.book.sent:
            continue
        if world.daemon.rig.sight.readings:
            return world
    message = "no scenario doses beside a probe"
    raise AssertionError(message)


def test_h38_readings_from_ahead_hide_none_where_it_is_decided_again() -> None:
    """They only go forward: a view that kept them would take its probe for silent."""
    world = probed_world()
    see_from_ahead(world)
    world.run(world.times.t_ms + MINUTE_MS)
    confirm_clock(world)
    world.run(world.times.t_ms + DAY_MS)
    assert {} == world.book.folded().holds
    found = again(world.book.events())
    assert [] == found.differences
    assert found.decisions > 10


def test_only_the_time_asked_for_is_decided_again(lived: list[AnyEvent]) -> None:
    """Entries before it are folded and not judged."""
    kept = [event for event in lived if isinstance(event, InputsKept)]
    middle = kept[len(kept) // 2].at
    early = replay(lived, EVER[0], middle)
    late = replay(lived, middle, EVER[1])
    assert again(lived).decisions == early.decisions + late.decisions
    assert 0 < late.decisions
    assert 0 == replay(lived, EVER[0], lived[0].at - timedelta(days=1)).decisions


def test_a_ledger_of_before_has_nothing_to_decide_again(lived: list[AnyEvent]) -> None:
    """Entries without inputs, as older versions wrote them, are history alone."""
    old = [event for event in lived if not isinstance(event, InputsKept)]
    assert (0, []) == (again(old).decisions, again(old).differences)


def test_a_calibration_changes_what_would_be_decided(lived: list[AnyEvent]) -> None:
    """A state that differs from the daemon's shows: the fold is part of the replay."""
    place, intent = first_intent(lived)
    before = lived[place - 1]
    made = Calibrated(
        at=before.at,
        boot_s=before.boot_s,
        proven_ms=before.proven_ms,
        pump=intent.dose.pump,
        rate_nl_per_s=500_000,
        cal="0badcafe",
        shots=3,
        spread_percent=1.0,
        proofs=(),
        by="keeper",
    )
    found = again([*lived[: place - 1], made, *lived[place - 1 :]])
    assert intent.dose.id in {one.dose for one in found.differences}
