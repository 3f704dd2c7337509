"""Differences of readings carry the rounding of their last bits.

What is a milliardth more than a limit counts as the limit, the next figure beyond that
does not; limits are common practice, no source.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from math import inf, nextafter

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.limits import WaterLimits
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import Compared, Entered, Flow
from slackwater.gate import acidity, climate
from slackwater.gate.circumstances import entered_refuses
from slackwater.gate.moment import Moment
from slackwater.gate.probes import contradicted, known
from tests.facts.safeguards import entered
from tests.gate.scene import PROBE
from tests.gate.test_climate import hand_test
from tests.gate.watched import HOUR, PROBES, Watched, watched_machine

LIMIT = 0.25
AT_MOST = LIMIT + 1e-9
BEYOND = nextafter(AT_MOST, inf)
EITHER = pytest.mark.parametrize(
    ("value", "beyond"), [(LIMIT, False), (AT_MOST, False), (BEYOND, True)]
)
LIMITS = WaterLimits(
    ph_rise_per_hour=LIMIT,
    ph_rise_after_dose=LIMIT,
    ph_hydroxide=LIMIT,
    ph_back=0.0,
    salinity_off=LIMIT,
    salinity_far=10.0,
    salinity_back=0.0,
    ph_spread=LIMIT,
    ph_against_test=LIMIT,
    alkalinity_against_test=LIMIT,
    good_readings=1,
    hold_at_least_s=0.0,
)


def shown(probe: str, *pairs: tuple[float, float], ends: datetime) -> list[Reading]:
    """What a probe showed so many minutes before the end, oldest first."""
    parameter = PROBES[probe].parameter if probe in PROBES else "alkalinity"
    return [
        Reading(
            tank="reef",
            probe=probe,
            parameter=parameter,
            value=value,
            at=ends - timedelta(minutes=minutes),
        )
        for minutes, value in sorted(pairs, reverse=True)
    ]


def scene(probe: str, *pairs: tuple[float, float], target: float = 0.0) -> Moment:
    """A tank of these limits whose one probe showed that."""
    used = watched_machine(probe, limits=LIMITS)
    tank = replace(used.tanks["reef"], targets={"salinity": target})
    at = Watched(replace(used, tanks={"reef": tank})).at
    at.sight.readings[probe] = shown(probe, *pairs, ends=at.now.utc)
    return at


def hold(at: Moment) -> HoldRaised:
    """A hold of an hour ago."""
    return HoldRaised(
        at=at.now.utc - HOUR,
        boot_s=0.0,
        proven_ms=0,
        hold_id="h1",
        scope="all",
        reason=because(Code.PH_RISE),
        latched=False,
    )


@EITHER
def test_a_rise_of_ph_in_an_hour(value: float, *, beyond: bool) -> None:
    """From nothing to the limit: what raises a hold, and what keeps one up."""
    at = scene("ph", (0, value), (5, value), (60, 0.0), (65, 0.0))
    assert beyond == bool(list(acidity.rise_looks(at, "reef")))
    assert beyond != acidity.rise_clears(at, "reef", hold(at))


@EITHER
def test_a_rise_of_ph_after_a_dose(value: float, *, beyond: bool) -> None:
    """From nothing, two minutes before the last drop of this moment."""
    at = scene("ph", (0, value), (2, 0.0))
    at.state.flows["soda"] = Flow(tank="reef", solution="soda", end_ms=at.proven_ms)
    assert beyond == bool(list(acidity.jump_looks(at, "reef")))


@EITHER
def test_a_ph_that_is_back(value: float, *, beyond: bool) -> None:
    """Below its limit by no hysteresis at all."""
    at = scene("ph", (0, value))
    assert beyond != acidity.hydroxide_clears(at, "reef", hold(at))


@EITHER
def test_a_salinity_that_is_off(value: float, *, beyond: bool) -> None:
    """From a target of nothing: by its probe, which also ends it."""
    at = scene("salt", (0, value))
    assert beyond == bool(list(climate.off_looks(at, "reef")))
    assert beyond != climate.off_clears(at, "reef", hold(at))


@EITHER
def test_a_salinity_that_a_hand_finds_off(value: float, *, beyond: bool) -> None:
    """Where there is no probe."""
    used = watched_machine(limits=LIMITS)
    tank = replace(used.tanks["reef"], targets={"salinity": 0.0})
    water = Watched(replace(used, tanks={"reef": tank}))
    water.write(hand_test(water, "salinity", value))
    assert beyond == (water.stopped == {"raise"})


def pair(probe: str, low: float, high: float) -> Moment:
    """Two probes of one kind that show these values now."""
    second = replace(PROBES[probe], id="second")
    at = Watched(watched_machine(probe, second, limits=LIMITS)).at
    first = shown(probe, (0, low), ends=at.now.utc)
    at.sight.readings[probe] = first
    at.sight.readings["second"] = [replace(first[0], probe="second", value=high)]
    return at


@EITHER
def test_two_probes_that_are_apart(value: float, *, beyond: bool) -> None:
    """Told with both, and with how far they may be."""
    found = known(pair("ph", 0.0, value), "reef", "ph").doubts
    assert ([Code.PROBES_APART] if beyond else []) == [one.code for one in found]


@EITHER
def test_a_probe_that_a_hand_contradicts(value: float, *, beyond: bool) -> None:
    """It showed nothing beside a test that found something."""
    at = scene("ph", (0, 0.0))
    at.state.compared["ph"] = Compared(
        tank="reef", measurement="m", taken_at=at.now.utc, tested=value, shown=0.0
    )
    assert beyond == (contradicted(at, "ph") is not None)


@EITHER
def test_a_test_from_afar_beside_which_a_probe_showed_less(
    value: float, *, beyond: bool
) -> None:
    """A sound probe that showed nearly the same speaks instead of it."""
    used = watched_machine(PROBE, limits=LIMITS)
    low = replace(used.guards["reef"], ceiling=0.0)
    at = Watched(replace(used, guards={"reef": low})).at
    now = at.now.utc
    at.sight.readings["kh"] = shown("kh", (0, 0.0), ends=now)
    told = entered({"at": now, "boot_s": 0.0, "proven_ms": 0}, "u-1", value)
    at.state.entered["u-1"] = Entered(told=told, shown={"kh": 0.0})
    assert beyond == bool(list(entered_refuses(at, "reef")))
