"""Temperature and salinity at their thresholds, and when they are not known.

The limits are common practice, no source: corrections and carbon between 21 and 29.5
degrees, any dose between 18 and 32; mineral corrections within 1 of the target salinity
and any dose within 3.
"""

from dataclasses import replace

import pytest

from slackwater.facts.events import ReadingKept
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Tank, Uptake
from slackwater.facts.waters import MeasurementKept
from tests.gate.scene import dkh_peq
from tests.gate.watched import (
    ALKALINE,
    DAY,
    EXTRAS,
    HOUR,
    LINES,
    MINUTE,
    PROBES,
    Watched,
    watched_machine,
)

WARM_PAIR = (PROBES["warm"], replace(PROBES["warm"], id="warm2"))


def warm(*groups: tuple[str, ...]) -> Watched:
    """The tank with one thermometer."""
    return Watched(watched_machine("warm"), *groups)


def salty(target: float | None = None) -> Watched:
    """The tank with one salinity probe, and perhaps a target."""
    used = watched_machine("salt")
    if target is not None:
        tank = replace(used.tanks["reef"], targets={"salinity": target})
        used = replace(used, tanks={"reef": tank})
    return Watched(used)


def hand_test(
    water: Watched, parameter: str, value: float, **more: object
) -> MeasurementKept:
    """A hand test of this moment."""
    made = MeasurementKept(
        **water.stamp,
        id=f"m-{parameter}-{value}",
        tank="reef",
        parameter=parameter,
        value=value,
        typed="",
        taken_at=water.at.now.utc,
        provenance="hand",
        by="keeper",
    )
    return replace(made, **more)  # type: ignore[arg-type]  # fields of the entry


@pytest.mark.parametrize(
    ("degc", "stopped"),
    [
        (17.9, LINES),
        (18.0, EXTRAS),
        (20.9, EXTRAS),
        (21.0, set()),
        (29.5, set()),
        (29.6, EXTRAS),
        (32.0, EXTRAS),
        (32.1, LINES),
    ],
)
def test_one_reading_at_each_threshold(degc: float, stopped: set[str]) -> None:
    """At a limit nothing, one tenth beyond it stops."""
    water = warm()
    water.pass_time(MINUTE)
    water.read("warm", degc)
    assert (set(stopped), {}) == (water.stopped, water.shares)


@pytest.mark.parametrize(
    ("degc", "holds"),
    [
        (29.1, ["temperature/reef"]),
        (29.0, []),
        (31.6, ["temperature-far/reef", "temperature/reef"]),
        (31.5, ["temperature/reef"]),
    ],
)
def test_heat_ends_at_the_hysteresis(degc: float, holds: list[str]) -> None:
    """Half a degree inside for an hour (the scene dithers downwards from the top)."""
    water = warm()
    water.pass_time(MINUTE)
    water.read("warm", 33.0)
    for _ in range(25):
        water.pass_time(5 * MINUTE)
        water.read("warm", degc)
    assert holds == water.holds


def test_cold_ends_at_the_hysteresis() -> None:
    """18.5 for an hour lets upkeep go on; 21.5 lets corrections."""
    water = warm()
    water.pass_time(MINUTE)
    water.read("warm", 17.0)
    water.read_for(2 * HOUR, warm=18.5)
    assert LINES == water.stopped
    water.read_for(2 * HOUR, warm=18.6)
    assert EXTRAS == water.stopped
    water.read_for(2 * HOUR, warm=21.6)
    assert set() == water.stopped


def test_a_partner_waits_with_a_correction() -> None:
    """Lines of a group hold together."""
    water = warm(("calcium", "raise"))
    water.pass_time(MINUTE)
    water.read("warm", 30.0)
    assert EXTRAS | {"calcium"} == water.stopped


@pytest.mark.parametrize(
    ("salinity", "stopped"),
    [
        (36.0, set()),
        (36.01, {"raise"}),
        (33.99, {"raise"}),
        (34.0, set()),
        (38.0, {"raise"}),
        (38.01, LINES),
        (31.99, LINES),
    ],
)
def test_salinity_off_by_one_and_by_three(salinity: float, stopped: set[str]) -> None:
    """One off ends mineral corrections, three off everything; either way."""
    water = salty()
    water.pass_time(MINUTE)
    water.read("salt", salinity)
    assert (set(stopped), {}) == (water.stopped, water.shares)


def test_salinity_counts_from_the_target() -> None:
    """A tank kept at 33 is off at 34.1 and not at 32.1."""
    for value, stopped in ((34.1, {"raise"}), (32.1, set())):
        water = salty(33.0)
        water.pass_time(MINUTE)
        water.read("salt", value)
        assert stopped == water.stopped


def test_salinity_ends_at_the_hysteresis() -> None:
    """0.8 off for an hour ends it, 0.81 does not."""
    water = salty()
    water.pass_time(MINUTE)
    water.read("salt", 36.5)
    water.read_for(2 * HOUR, salt=35.82)
    assert {"raise"} == water.stopped
    water.read_for(2 * HOUR, salt=35.8)
    assert set() == water.stopped


@pytest.mark.parametrize("probe", ["warm", "salt"])
@pytest.mark.parametrize(("minutes", "unknown"), [(10.0, False), (10.1, True)])
def test_h48_an_old_value_shortens_to_the_base(
    probe: str, minutes: float, *, unknown: bool
) -> None:
    """Twice the period; corrections end, all else gets four fifths."""
    water = Watched(watched_machine(probe))
    water.pass_time(minutes * MINUTE)
    base = dict.fromkeys(LINES - {"raise"}, 80) | {"raise": 0}
    assert (set(), base if unknown else {}) == (water.stopped, water.shares)


def test_h48_a_probe_never_heard_shortens_to_the_base() -> None:
    """It says why, with the probe's name."""
    water = warm()
    water.at.sight.readings.clear()
    assert 80 == water.shares["soda"]
    assert 0 == water.shares["raise"]


def test_h53_a_refused_value_shortens_until_a_good_one() -> None:
    """A thermometer that changed its unit."""
    water = warm()
    water.pass_time(MINUTE)
    water.spoil("warm")
    assert 80 == water.shares["soda"]
    water.pass_time(MINUTE)
    water.read("warm", 25.5)
    assert {} == water.shares


def test_h49_a_thermometer_that_stands_still_for_a_day_is_frozen() -> None:
    """Equal values for less than a day are a good heater."""
    water = warm()
    for _ in range(12 * 24):
        water.pass_time(5 * MINUTE)
        water.read("warm", 25.3)
    assert {} == water.shares
    water.pass_time(5 * MINUTE)
    water.read("warm", 25.3)
    assert 80 == water.shares["soda"]


@pytest.mark.parametrize(
    ("other", "unknown"), [(26.5, False), (26.6, True), (24.4, True)]
)
def test_h54_thermometers_that_disagree_shorten(other: float, *, unknown: bool) -> None:
    """One degree apart is agreement."""
    water = Watched(watched_machine(*WARM_PAIR))
    water.pass_time(MINUTE)
    water.read("warm", 25.5)
    water.read("warm2", other)
    assert unknown == ("soda" in water.shares)
    assert set() == water.stopped


def test_h54_one_sound_thermometer_is_enough() -> None:
    """The other is silent: nothing is shortened, and its heat is not seen."""
    water = Watched(watched_machine(*WARM_PAIR))
    water.pass_time(30 * MINUTE)
    water.read("warm", 25.5)
    assert {} == water.shares


def test_h54_either_thermometer_may_stop() -> None:
    """One of two in the heat, though they disagree."""
    water = Watched(watched_machine(*WARM_PAIR))
    water.pass_time(MINUTE)
    water.read("warm", 25.5)
    water.read("warm2", 33.0)
    assert LINES == water.stopped


def test_the_base_of_known_uptakes_replaces_them_and_no_more() -> None:
    """Calcium: four fifths of 10 of 20 planned, or the lower bound; soda: alkalinity.

    Plan: 48 mL of 136.31 mg/mL in 200 L are 32.7 mg/L a day; four fifths of an uptake
    of 20 mg/L are 16, 48.9 % of that. Alkalinity: 48 mL of three bases.
    """
    used = watched_machine("warm")
    tank: Tank = used.tanks["reef"]
    uptakes = {
        "calcium": Uptake(estimate=20 * 200 * 10**9, low=19 * 200 * 10**9),
        "alkalinity": Uptake(estimate=dkh_peq(2.0), low=dkh_peq(1.0)),
    }
    used = replace(used, tanks={"reef": replace(tank, uptake=uptakes)})
    water = Watched(used)
    water.pass_time(11 * MINUTE)
    planned = 48_000 * (1_000_000 + 1_887_010 + 900_000)
    expected = {"calcium": int(100 * 16 / (48 * 136.31 / 200))}
    expected |= dict.fromkeys(ALKALINE, 100 * dkh_peq(1.0) // planned)
    expected |= dict.fromkeys({"iodine", "food", "plain"}, 80) | {"raise": 0}
    assert expected == water.shares


def test_long_silence_takes_a_tenth_of_the_base() -> None:
    """After two weeks, 72 % instead of 80."""
    water = warm()
    water.pass_time(14 * DAY)
    assert 80 == water.shares["soda"]
    water.pass_time(MINUTE)
    assert 72 == water.shares["soda"]


@pytest.mark.parametrize(
    ("value", "stopped"),
    [(36.0, set()), (36.1, {"raise"}), (33.9, {"raise"}), (38.1, LINES)],
)
def test_without_a_probe_the_newest_test_of_salinity_speaks(
    value: float, stopped: set[str]
) -> None:
    """The same limits; another test ends it at once."""
    water = Watched(watched_machine())
    water.write(hand_test(water, "salinity", value))
    assert set(stopped) == water.stopped
    water.pass_time(MINUTE)
    water.write(hand_test(water, "salinity", 35.0))
    assert set() == water.stopped


def test_a_test_of_salinity_speaks_for_thirty_days() -> None:
    """An older one says nothing of the water of today."""
    water = Watched(watched_machine())
    water.write(hand_test(water, "salinity", 36.5))
    water.pass_time(30 * DAY)
    assert [Code.SALINITY_OFF] == [
        code for code in water.codes("raise") if code is Code.SALINITY_OFF
    ]
    water.pass_time(MINUTE)
    assert Code.SALINITY_OFF not in water.codes("raise")


def test_a_probe_speaks_before_a_test_of_salinity() -> None:
    """A probe that serves is newer than any test."""
    water = salty()
    water.write(hand_test(water, "salinity", 36.5))
    assert set() == water.stopped


@pytest.mark.parametrize(("test", "doubted"), [(26.5, False), (26.7, True)])
def test_h52_a_thermometer_that_a_hand_contradicts_shortens(
    test: float, *, doubted: bool
) -> None:
    """One degree from what it showed beside the test; a newer test may clear it."""
    water = warm()
    kept = hand_test(water, "temperature", test)
    water.at.state.readings.clear()
    _keep(water, "warm", 25.5)
    water.write(kept)
    assert doubted == ("soda" in water.shares)
    water.pass_time(MINUTE)
    water.read("warm", 25.6)
    _keep(water, "warm", 25.6)
    water.write(hand_test(water, "temperature", 25.9))
    assert {} == water.shares


def _keep(water: Watched, probe: str, value: float) -> None:
    """The ledger keeps a reading of this moment."""
    configured = water.at.machine.probes[probe]
    water.write(
        ReadingKept(
            **water.stamp,
            tank="reef",
            probe=probe,
            parameter=configured.parameter,
            value=value,
            taken_at=water.at.now.utc,
        )
    )
