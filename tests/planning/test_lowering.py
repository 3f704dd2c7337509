"""Lower caps of another machine: found, laid on, and never higher."""

from dataclasses import fields, replace

import pytest

from slackwater.facts.limits import LIMITS, WaterLimits
from slackwater.facts.tank import AlkalinityGuard, EffectCap, Machine, Node, Pump
from slackwater.planning.lowering import (
    EFFECT,
    GUARD,
    LIMIT,
    NODE,
    PUMP,
    lower_caps,
    lowered,
)
from tests.gate.scene import machine


def capped() -> Machine:
    """The scene with a limit on everything that may have one."""
    base = machine()
    pumps = {
        name: replace(pump, per_hour_ul=9_000, per_hand_ul=5_000, per_priming_ul=7_000)
        for name, pump in base.pumps.items()
    }
    return replace(base, pumps=pumps, limits={"reef": WaterLimits()})


def scaled(base: Machine, place: str, factor: float) -> Machine:
    """The machine with one figure made larger or smaller."""
    kind, name, *parameter, field = place.split("/")
    if kind == "cap":
        tank = base.tanks[name]
        cap = tank.caps[parameter[0]]
        made = replace(cap, **{field: int(getattr(cap, field) * factor)})
        tank = replace(tank, caps={**tank.caps, parameter[0]: made})
        return replace(base, tanks={**base.tanks, name: tank})
    tables = {"pump": "pumps", "node": "nodes", "guard": "guards", "limit": "limits"}
    table = getattr(base, tables[kind])
    old = getattr(table[name], field)
    new = type(old)(old * factor)
    changed = replace(table[name], **{field: new})
    return replace(base, **{tables[kind]: {**table, name: changed}})  # type: ignore[arg-type]  # one of its tables


PLACES = (
    *(f"pump/{name}/{field}" for name in ("calcium", "carbonate") for field in PUMP),
    *(f"node/shelf/{field}" for field in NODE),
    *(f"guard/reef/{field}" for field in GUARD),
    *(f"limit/reef/{field}" for field in LIMIT),
    *(f"cap/reef/alkalinity/{field}" for field in EFFECT),
    "cap/reef/calcium/gross",
)


@pytest.mark.parametrize("place", PLACES)
def test_a_lower_figure_counts_and_a_higher_one_does_not(place: str) -> None:
    """Each place alone, halved and doubled."""
    base = capped()
    halved, doubled = (scaled(base, place, factor) for factor in (0.5, 2.0))
    assert [place] == list(lower_caps(base, halved))
    assert halved == lowered(base, lower_caps(base, halved))
    assert {} == lower_caps(base, doubled)
    # Caps that are above the machine's own raise nothing.
    assert base == lowered(base, lower_caps(scaled(doubled, place, 2.0), doubled))


def test_what_was_not_capped_may_be_capped() -> None:
    """An hourly cap and a net rise where there was none."""
    base = machine()
    tighter = replace(
        base,
        pumps={n: replace(p, per_hour_ul=9_000) for n, p in base.pumps.items()},
        tanks={
            n: replace(t, caps={k: replace(c, net_rise=5) for k, c in t.caps.items()})
            for n, t in base.tanks.items()
        },
    )
    found = lower_caps(base, tighter)
    assert 9_000 == found["pump/carbonate/per_hour_ul"]
    assert 5 == found["cap/reef/calcium/net_rise"]
    assert tighter == lowered(base, found)
    # The other way round nothing is said: no cap is higher than any.
    assert {} == lower_caps(tighter, base)


def test_a_cap_that_is_gone_is_zero_and_a_table_that_is_gone_says_nothing() -> None:
    """No calcium any more in this tank; the other pump was sold."""
    base = machine()
    tank = base.tanks["reef"]
    only = {"alkalinity": tank.caps["alkalinity"]}
    other = replace(
        base,
        tanks={"reef": replace(tank, caps=only)},
        pumps={"calcium": base.pumps["calcium"]},
    )
    assert {"cap/reef/calcium/gross": 0} == lower_caps(base, other)
    assert (
        0 == lowered(base, lower_caps(base, other)).tanks["reef"].caps["calcium"].gross
    )


def test_a_tank_that_is_gone_says_nothing() -> None:
    """Its caps are neither lower nor there."""
    base = machine()
    assert {} == lower_caps(base, replace(base, tanks={}))
    assert {} == lower_caps(replace(base, tanks={}), base)


def test_a_limit_that_holds_already_is_not_stated_anew() -> None:
    """The scene states none; one as low as what holds without a word adds none."""
    base = replace(machine(), limits={})
    assert base == lowered(base, {"limit/reef/ph_hydroxide": LIMITS.ph_hydroxide})


def test_without_a_word_the_machine_is_the_very_same() -> None:
    """Nothing is copied where nothing changes."""
    base = machine()
    assert base is lowered(base, {})


@pytest.mark.parametrize(
    ("record", "listed"),
    [
        (Pump, PUMP),
        (Node, NODE),
        (EffectCap, EFFECT),
        (AlkalinityGuard, GUARD),
        (WaterLimits, LIMIT),
    ],
)
def test_every_listed_field_is_one_of_its_record(
    record: type, listed: tuple[str, ...]
) -> None:
    """A field that was renamed would silently not count."""
    assert set(listed) <= {field.name for field in fields(record)}
