"""A node's key is changed while it doses: each step is understood on both sides.

The steps are those of `config/README.md`. H60: whoever kept the old key is nobody at
the end.
"""

from dataclasses import dataclass, replace

import pytest

from demo.node.node import canonical
from slackwater.facts.messages import Beat
from slackwater.outside.wire import Spoiled
from slackwater.outside.wire.commands import run_bytes
from tests.demo.nodes import BOOT, HOUR_MS, KEY, RESTED_MS, bench, results
from tests.outside.samples import BEAT_AT, COMMAND, VIEW, decode

NEW = bytes(range(32, 64))


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What daemon and node hold after one step; the first of each signs."""

    daemon: tuple[bytes, ...]
    node: tuple[bytes, ...]


STEPS = {
    "before": Step(daemon=(KEY,), node=(KEY,)),
    "the daemon knows both": Step(daemon=(KEY, NEW), node=(KEY,)),
    "the node knows both": Step(daemon=(KEY, NEW), node=(NEW, KEY)),
    "the daemon signs with the new": Step(daemon=(NEW,), node=(NEW, KEY)),
    "after": Step(daemon=(NEW,), node=(NEW,)),
}


def answered(step: Step, key: bytes) -> object:
    """What the node says to a run signed with a key."""
    here = bench(key=step.node[0])
    here.node.keys.extend(step.node[1:])
    command = replace(
        COMMAND,
        boot=BOOT,
        n=0,
        ul=1_000,
        ms=2_000,
        cut_ms=2_500,
        until_up=RESTED_MS + HOUR_MS,
    )
    (result,) = results(here.send(run_bytes(command, key)))
    return result["phase"]


def heard_from(step: Step, key: bytes) -> object:
    """What the daemon makes of a beat signed with a key."""
    here = bench(key=key)
    first, *second = ({"left": known} for known in step.daemon)
    view = replace(VIEW, keys=first, second_keys=second[0] if second else {})
    return decode(BEAT_AT, canonical(here.node.beat()[1]).encode(), view)


@pytest.mark.parametrize("name", STEPS)
def test_no_step_keeps_a_dose_from_flowing(name: str) -> None:
    """Each side believes what the other one signs."""
    step = STEPS[name]
    assert "taken" == answered(step, step.daemon[0])
    assert isinstance(heard_from(step, step.node[0]), Beat)


def test_h60_the_old_key_is_worth_nothing_afterwards() -> None:
    """Neither side believes what is signed with it."""
    after = STEPS["after"]
    assert "refused" == answered(after, KEY)
    assert isinstance(heard_from(after, KEY), Spoiled)


@pytest.mark.parametrize("name", STEPS)
def test_h60_a_third_key_is_worth_nothing_at_any_time(name: str) -> None:
    """Two keys count at most."""
    stranger = bytes(range(64, 96))
    assert "refused" == answered(STEPS[name], stranger)
    assert isinstance(heard_from(STEPS[name], stranger), Spoiled)
