"""Exchanges of water that the real loop decided are decided the same again."""

import logging
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial

import pytest
import structlog

from slackwater.facts.events import AnyEvent, DoseIntended
from slackwater.facts.inputs import InputsKept
from slackwater.facts.limits import Switch
from slackwater.facts.messages import CounterSeen
from slackwater.facts.plan import Plan
from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from slackwater.facts.tank import Machine
from slackwater.facts.waters import WaterChanged
from slackwater.service.replaying import Replay, replay
from tests.audit.simulated import Simulated
from tests.planning import plans
from tests.properties.outpost import HOUR_MS
from tests.turn.pairs import CONTENT_UL, lines, paired, plan_of

EVER = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
PORTION_UL = 10_000
FIRST = date(2026, 5, 3)
FLOAT = Switch(id="float", tank="reef", role="top-off", normal_on=False, unit_ul=1)
COUNTED_EACH_MS, COUNTED_UL = 10 * 60_000, 2_345
FILLED = {"canister": {"salinity": 35.0}, "waste": {}}


class Exchanging(Simulated):
    """Two days of a tank that changes its water, with a counter at its top-off."""

    def __init__(self, *, is_counted: bool) -> None:
        """Containers filled and read; nothing runs yet."""
        # What the nodes of the world take at most: 10 mL in 20 s.
        made = plans.with_node(paired(), "shelf", cut_limit_ms=20_000)
        for name in made.pumps:
            made = plans.with_pump(made, name, rate_nl_per_s=1_000_000)
        if is_counted:
            made = replace(made, switches={"float": FLOAT})
        super().__init__(made, plan_of(*lines(10 * PORTION_UL)), FIRST)
        if is_counted:
            for number in range(60 * HOUR_MS // COUNTED_EACH_MS):
                told = partial(self._top_off_says, 10**9 + number * COUNTED_UL)
                self.after(number * COUNTED_EACH_MS, told)

    def _top_off_says(self, total_ul: int) -> None:
        now = self.times.now()
        seen = CounterSeen(
            tank="reef",
            switch="float",
            total_ul=total_ul,
            at=now.utc,
            heard_boot_s=now.boot_s,
        )
        self.bus.to_daemon(seen, self.times.t_ms)

    def _past(self, machine: Machine, plan: Plan) -> list[AnyEvent]:
        past = super()._past(machine, plan)
        at, boot_s, proven_ms = past[-1].at, past[-1].boot_s, past[-1].proven_ms
        for reservoir, levels in FILLED.items():
            pump = next(
                p.id for p in machine.pumps.values() if p.reservoir == reservoir
            )
            past += [
                ReservoirFilled(
                    at=at,
                    boot_s=boot_s,
                    proven_ms=proven_ms,
                    reservoir=reservoir,
                    content_ul=CONTENT_UL,
                    mixed_at=at - timedelta(hours=2),
                    by="keeper",
                    lot="may-2" if levels else "",
                    levels=levels,
                ),
                LevelMeasured(
                    at=at,
                    boot_s=boot_s,
                    proven_ms=proven_ms,
                    reservoir=reservoir,
                    volume_ul=CONTENT_UL,
                    within_ul=20_000,
                    measured_at=at,
                    pumps=(pump,),
                    by="keeper",
                ),
            ]
        return past


@pytest.fixture(scope="module", params=[False, True], ids=["plain", "counted"])
def lived(request: pytest.FixtureRequest) -> list[AnyEvent]:
    """The entries of two days, with and without a counter."""
    only_worst = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=only_worst)
    stage = Exchanging(is_counted=request.param)
    stage.live_through()
    structlog.reset_defaults()
    return stage.book.events()


def again(events: list[AnyEvent]) -> Replay:
    """Everything decided in these entries, decided again."""
    return replay(events, *EVER)


def portions(events: list[AnyEvent]) -> list[DoseIntended]:
    """What was drained and filled."""
    return [e for e in events if isinstance(e, DoseIntended) and e.exchange]


def test_every_drain_and_every_fill_is_decided_the_same_again(
    lived: list[AnyEvent],
) -> None:
    """Ten portions out and ten in on each of two days, each with its booking."""
    roles = [one.exchange for one in portions(lived)]
    assert {"water/drain": 20, "water/fill": 20} == {
        role: roles.count(role) for role in set(roles)
    }
    assert 20 == sum(isinstance(event, WaterChanged) for event in lived)
    found = again(lived)
    assert [] == found.differences
    assert found.decisions >= len(roles)


def test_a_portion_that_this_version_would_not_give_is_told(
    lived: list[AnyEvent],
) -> None:
    """A fill of a millilitre more than was drained, in the ledger of the old one."""
    place, fill = next(
        (place, one)
        for place, one in enumerate(lived)
        if isinstance(one, DoseIntended) and one.exchange == "water/fill"
    )
    more = replace(fill.command, ul=fill.command.ul + 1_000)
    changed = [*lived[:place], replace(fill, command=more), *lived[place + 1 :]]
    first = again(changed).differences[0]
    assert (fill.dose.id, fill.at) == (first.dose, first.at)


def test_what_the_top_off_counted_is_kept_with_each_decision(
    lived: list[AnyEvent],
) -> None:
    """Its running total, from which a later one takes what came in between."""
    counted = {one.counted_ul for one in portions(lived)}
    kept = [event for event in lived if isinstance(event, InputsKept)]
    totals = {total for event in kept for total in event.totals.values()}
    # Below nought: nothing counts here.
    assert counted <= (totals or {-1})
