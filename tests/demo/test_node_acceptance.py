"""Acceptance by the virtual node, rule by rule, under a virtual clock."""

from collections.abc import Callable
from itertools import combinations

import pytest

from tests.demo.nodes import (
    BOOT,
    LIMITS,
    RESTED_MS,
    Bench,
    answer,
    attempt,
    bench,
    results,
    run_bytes,
)

# How to break each rule that reads the command alone, in the order of the contract.
_BY_COMMAND: dict[str, dict[str, object]] = {
    "form": {"extra": 1},
    "boot": {"boot": "0" * 16},
    "fence": {"fence": 0},
    "number": {"n": 7},
    "late": {"until_up": 5},
    "limit": {"ul": 5_001, "ms": 10_000, "cut_ms": 10_000},
}


def _run_first(bench_: Bench) -> None:
    """Raise the fence to 3 and the number to 1, then be idle again."""
    bench_.send(run_bytes(id=attempt(50)))
    bench_.wait(3_000)


def _make_busy(bench_: Bench) -> None:
    bench_.send(run_bytes(id=attempt(51), n=1, until_up=bench_.up_ms + 9))


def _make_held(bench_: Bench) -> None:
    bench_.hold(b"{}")


def _spend(bench_: Bench) -> None:
    bench_.node.heads["a"].budget.take(LIMITS["day_ul"], bench_.up_ms)


_BY_STATE: dict[str, Callable[[Bench], None]] = {
    "busy": _make_busy,
    "held": _make_held,
    "budget": _spend,
}
_ORDER = ["form", "boot", "fence", "number", "late", "busy", "held", "limit", "budget"]


def _broken(*reasons: str) -> tuple[Bench, bytes]:
    """A node and a run that fails exactly these rules."""
    here = bench()
    _run_first(here)
    for reason in reasons:
        if reason in _BY_STATE:
            _BY_STATE[reason](here)
    busy = "busy" in reasons
    changes: dict[str, object] = {
        "n": 2 if busy else 1,
        "until_up": here.up_ms + 8_000,
    }
    for reason in reasons:
        changes.update(_BY_COMMAND.get(reason, {}))
    return here, run_bytes(**changes)


def test_accepts_a_run_and_answers_taken() -> None:
    """A good run is taken, with number, calibration and uptime."""
    here = bench()
    told = here.send(run_bytes())
    assert [
        {
            "v": 1,
            "id": attempt(1),
            "boot": BOOT,
            "chan": "a",
            "n": 0,
            "phase": "taken",
            "ran_ms": 0,
            "ul": 0,
            "reason": "",
            "cal": "77aa01cf",
            "up": RESTED_MS,
        }
    ] == results(told)
    assert [suffix for suffix, _ in told] == ["result", "beat"]


@pytest.mark.parametrize("reason", _ORDER)
def test_each_rule_refuses_with_its_word(reason: str) -> None:
    """A run that fails one rule is refused with that rule's word."""
    here, payload = _broken(reason)
    assert ("refused", reason) == answer(here.send(payload))


@pytest.mark.parametrize(
    ("first", "second"),
    # A hold ends the run, so a head is never busy and held by it together.
    [pair for pair in combinations(_ORDER, 2) if pair != ("busy", "held")],
)
def test_the_earlier_rule_answers(first: str, second: str) -> None:
    """Of two broken rules the one that stands first in the contract answers."""
    here, payload = _broken(first, second)
    assert ("refused", first) == answer(here.send(payload))


@pytest.mark.parametrize("reason", _ORDER)
def test_a_retained_command_is_refused_before_all_else(reason: str) -> None:
    """Hazard H13: the retain flag is looked at before the form."""
    here, payload = _broken(reason)
    assert answer(here.send(payload, retained=True)) == ("refused", "retained")


@pytest.mark.parametrize("reason", _ORDER)
def test_a_refusal_changes_nothing(reason: str) -> None:
    """Number, budget, fence, odometer and output are as before a refusal."""
    here, payload = _broken(reason)
    before = (here.channel(), here.node.fence, here.cut_ms())
    here.send(payload)
    assert before == (here.channel(), here.node.fence, here.cut_ms())


def test_a_broken_head_is_busy_before_it_is_held() -> None:
    """Rule 8 comes before rule 9 where both can fail: a broken head under hold."""
    here = bench()
    here.node.fail("a", here.up_ms)
    here.hold(b"{}")
    assert answer(here.send(run_bytes())) == ("refused", "busy")


def test_the_same_id_answers_before_the_boot_is_looked_at() -> None:
    """Rule 3 comes before rules 4 to 11: a repeat is no refusal."""
    here = bench()
    here.send(run_bytes())
    here.wait(2_000)
    spoilt = run_bytes(boot="0" * 16, fence=0, n=9, until_up=0, ul=900_000)
    assert answer(here.send(spoilt)) == ("ended", "complete")


def test_a_repeat_never_runs_again() -> None:
    """Hazard H11: fifty copies of one command move its amount once."""
    here = bench()
    phases = [results(here.send(run_bytes()))[0]["phase"]]
    for _ in range(50):
        here.wait(100)
        phases.append(results(here.send(run_bytes()))[-1]["phase"])
    assert ["taken", *["running"] * 19, *["ended"] * 31] == phases
    assert tuple(here.channel()[name] for name in ("n", "odo_ul", "odo_ms")) == (
        1,
        1_000,
        2_000,
    )


def test_a_repeat_under_another_channel_never_runs() -> None:
    """An id is one attempt of the node, whatever channel the copy names."""
    here = bench()
    here.send(run_bytes())
    (only,) = results(here.send(run_bytes(chan="b")))
    assert (only["chan"], only["phase"]) == ("a", "running")
    assert not here.pumping("b")


def test_number_and_budget_move_before_the_output() -> None:
    """Acceptance raises the number by one and takes the asked amount at once."""
    here = bench()
    before = here.channel()
    here.send(run_bytes())
    after = here.channel()
    assert (before["n"], before["budget_ul"]) == (0, 120_000)
    assert (after["n"], after["budget_ul"]) == (1, 119_000)


@pytest.mark.parametrize("offered", [1, 2, 2**63])
def test_only_the_next_number_runs(offered: int) -> None:
    """A number ahead is refused like one behind."""
    here = bench()
    assert answer(here.send(run_bytes(n=offered))) == ("refused", "number")


@pytest.mark.parametrize(
    ("until_up", "expected"),
    [
        (RESTED_MS - 1, ("refused", "late")),
        (RESTED_MS, ("taken", "")),
    ],
)
def test_the_deadline_is_the_last_good_millisecond(
    until_up: int, expected: tuple[str, str]
) -> None:
    """Hazard H12: uptime may equal the deadline and not pass it."""
    assert expected == answer(bench().send(run_bytes(until_up=until_up)))


def test_the_fence_rises_with_acceptance_and_bars_the_older_daemon() -> None:
    """Hazard H25: after a run under fence 9 nobody below 9 is heard."""
    here = bench()
    here.send(run_bytes(fence=9))
    here.wait(2_000)
    late = {"id": attempt(2), "n": 1}
    assert answer(here.send(run_bytes(fence=8, **late))) == ("refused", "fence")
    assert answer(here.send(run_bytes(fence=9, **late))) == ("taken", "")


def test_the_budget_may_be_used_to_the_last_microlitre() -> None:
    """Room for exactly this run is enough; for one microlitre less it is not."""
    exact, short = bench(), bench()
    exact.node.heads["a"].budget.take(119_000, RESTED_MS)
    short.node.heads["a"].budget.take(119_001, RESTED_MS)
    assert answer(exact.send(run_bytes())) == ("taken", "")
    assert answer(short.send(run_bytes())) == ("refused", "budget")


def test_the_other_channel_of_a_node_stays_free() -> None:
    """State is kept by channel: one running head does not make the other busy."""
    here = bench()
    here.send(run_bytes())
    assert answer(here.send(run_bytes(id=attempt(2), chan="b"))) == ("taken", "")


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"ul": 5_000, "ms": 10_000, "cut_ms": 12_000}, ("taken", "")),
        ({"ul": 5_001, "ms": 10_000, "cut_ms": 12_000}, ("refused", "limit")),
        ({"ul": 5_000, "ms": 20_000, "cut_ms": 25_000}, ("taken", "")),
        ({"ul": 5_000, "ms": 20_001, "cut_ms": 25_000}, ("refused", "limit")),
        ({"cut_ms": 25_000}, ("taken", "")),
        ({"cut_ms": 25_001}, ("refused", "limit")),
        ({"ul": 500, "ms": 2_000}, ("taken", "")),
        ({"ul": 499, "ms": 2_000}, ("refused", "limit")),
        ({"ul": 2_000, "ms": 2_000}, ("taken", "")),
        ({"ul": 2_001, "ms": 2_000}, ("refused", "limit")),
    ],
)
def test_device_limits_hold_to_the_microlitre(
    changes: dict[str, object], expected: tuple[str, str]
) -> None:
    """Amount, times and half to double the nominal 0.5 mL/s are the last good values.

    Hand-worked: 30 000 uL/min is 1 000 uL in 2 s, so 500 and 2 000 uL are the bounds.
    """
    assert expected == answer(bench().send(run_bytes(**changes)))
