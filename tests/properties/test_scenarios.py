"""Thousands of invented quarters of an hour, each with its faults: no law broken.

The judge sees the water and the intents alone. Hazards: H02 to H08, H10 to H12, H15 to
H20, H23 to H27, H36 to H40, H46.
"""

import gc
import multiprocessing
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import get_args

import pytest

from slackwater.facts.events import AnyEvent, EndedHow
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import SafeguardEvent
from slackwater.facts.stages import StageEvent
from tests.properties.play import BAD_WIRE, EVERY, Played, play_all

SCENARIOS, LONG_SCENARIOS = 2_000, 20_000
WORKERS, AT_A_TIME = 2, 50
SHOWN = 5
# Scenarios leave little litter in circles, and looking through all their worlds for it
# time and again is a tenth of their time.
THINGS_BETWEEN_LOOKS = 20_000
# What the turn never says, with the room whose tests reach it.
ELSEWHERE = {
    "reason no-plan": "tests/gate: the turn asks only for doses of a plan",
    "reason clock-unproven": "tests/gate: without a trusted clock no turn decides",
    "reason clock-behind-ledger": "tests/gate: behind the ledger no turn decides",
    "reason strength-untested": "tests/turn: a day of another strength comes first",
    "reason ledger-damaged": "tests/service: the daily audit of the running service",
    "reason ledger-fault": "tests/ledger: the daemon ends instead of deciding",
    "reason version-differs": "tests/service: no scenario changes the version",
    "reason not-as-approved": "tests/service: no sound turn asks for such a dose",
    "reason given-before": "tests/service: a clock is ahead for days on end first",
    "reason node-twice": "two devices under one name show as a reboot each beat",
    "entry ledger_restored": "tests/cli: a person puts a ledger back, no daemon runs",
    "reason ledger-restored": "tests/cli: a person puts a ledger back, no daemon runs",
    "entry audited": "tests/cli: a process of its own writes it",
    "entry checkpoint": "tests/ledger: the daily audit of the running service",
    "entry files_differ": "tests/service: housekeeping of the running service",
    "entry watch_kept": "tests/service: the hourly entry of a shadow run",
    "entry stopped": "tests/service: a clean end, which no scenario has",
    "reason alkalinity-swing-up": "tests/gate: three days of readings come first",
    "reason alkalinity-swing-down": "tests/gate: three days of readings come first",
    "reason alkalinity-probe-fault": "tests/gate: three days of readings come first",
    "reason alkalinity-dose-fault": "tests/gate: three days of readings come first",
    "entry series_judged": "tests/gate: three days of readings come first",
    "entry span_missed": "tests/turn, tests/stories: two days of absence come first",
    "entry alarm_raised": "tests/alarms: the shell judges them beside the loop",
    "entry alarm_changed": "tests/alarms: the shell judges them beside the loop",
    "entry day_summed": "tests/service: the daily audit of the running service",
    **{
        f"reason {code}": "tests/gate, tests/turn: no scenario has a pair of pumps"
        for code in (
            Code.EXCHANGE_WAITS,
            Code.EXCHANGE_UNFILLED,
            Code.EXCHANGE_NOTHING,
            Code.EXCHANGE_LESS,
            Code.EXCHANGE_OFF,
            Code.EXCHANGE_UNPROVEN,
            Code.EXCHANGE_ALONE,
            Code.NEW_WATER_LOW,
            Code.NEW_WATER_UNTESTED,
            Code.WASTE_FULL,
        )
    },
    **{
        f"entry {kind}": "tests/facts, tests/cli: people's records, no turn writes them"
        for kind in (
            "measurement_kept",
            "measurement_struck",
            "standard_checked",
            "sample_taken",
            "report_imported",
            "husbandry_noted",
            "task_set",
            "task_closed",
            "relay_checked",
            "entry_settled",
        )
    },
    "entry level_entered": "tests/turn: no scenario tells a test from afar",
    **{
        f"entry {kind.__dataclass_fields__['kind'].default}": "tests/turn, tests/cli: "
        "no household of the scenarios has more guards than those on alkalinity"
        for kind in get_args(SafeguardEvent)
    },
    **{
        f"entry {kind.__dataclass_fields__['kind'].default}": "tests/turn, tests/cli: "
        "no household of the scenarios changes its file or has an old doser"
        for kind in get_args(StageEvent)
    },
    **{
        f"reason {code}": "tests/turn, tests/service: no scenario has it"
        for code in (
            Code.HALVED,
            Code.CAP_BY_HAND,
            Code.CAP_PRIMING,
            Code.OLD_DOSER,
            Code.TABLE_CHANGED,
            Code.NOT_AS_APPROVED,
            Code.VERSION_DIFFERS,
            Code.RELAY_UNCHECKED,
        )
    },
    **{
        f"reason {code}": "tests/gate: watched by what no scenario has"
        for code in (
            Code.ALKALINITY_TEST,
            Code.ALKALINITY_ENTERED,
            Code.PH_HIGH,
            Code.PH_RISE,
            Code.PH_UNKNOWN,
            Code.TEMPERATURE_OFF,
            Code.TEMPERATURE_FAR,
            Code.SALINITY_OFF,
            Code.SALINITY_FAR,
            Code.PROBE_MISSING,
            Code.PROBE_STALE,
            Code.PROBE_FROZEN,
            Code.PROBE_REFUSED,
            Code.PROBE_OUT,
            Code.PROBE_STOOD_IN,
            Code.PROBES_APART,
            Code.PROBE_AGAINST_TEST,
            Code.RETURN_OFF,
            Code.LEVEL_WRONG,
            Code.LEAK,
            Code.FEEDING,
            Code.HANDS_IN,
            Code.SKIMMER_OFF,
            Code.AIR_OFF,
            Code.POWER_AT_REST,
            Code.SWITCH_UNKNOWN,
            Code.RETURN_UNKNOWN,
            Code.TREATMENT,
            Code.TOP_OFF_HIGH,
            Code.CALIBRATION_OLD,
            Code.PUMP_FAR_OFF,
            Code.BOTTLE_LOST,
            Code.RESERVOIR_LOW,
            Code.RESERVOIR_EMPTY,
            Code.RESERVOIR_OLD,
            Code.NUTRIENTS_LOW,
            Code.AWAY,
        )
    },
}


def look_seldom() -> None:
    """Let a process that plays look for litter seldom, and never among its modules."""
    gc.freeze()
    gc.set_threshold(THINGS_BETWEEN_LOOKS)


def play_many(count: int) -> list[Played]:
    """So many scenarios, seeds from nought, on both cores."""
    parts = [range(at, min(at + AT_A_TIME, count)) for at in range(0, count, AT_A_TIME)]
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(
        WORKERS, mp_context=fresh, initializer=look_seldom
    ) as pool:
        return [played for part in pool.map(play_all, parts) for played in part]


def all_there_is() -> set[str]:
    """Every reason, kind of entry, way to end and fault."""
    kinds = [kind.__dataclass_fields__["kind"].default for kind in get_args(AnyEvent)]
    return {
        *(f"reason {code}" for code in Code),
        *(f"entry {kind}" for kind in kinds),
        *(f"end {how}" for how in get_args(EndedHow)),
        *(f"fault {fault.__name__}" for fault in EVERY),
        f"fault {BAD_WIRE}",
    }


@pytest.mark.timeout(1800)
def test_i1_to_i5_i9_i10_hold_whatever_happens(
    tell: Callable[[str], None], pytestconfig: pytest.Config
) -> None:
    """Two thousand scenarios, no finding, and nothing that was never reached."""
    count = LONG_SCENARIOS if pytestconfig.getoption("--long") else SCENARIOS
    played = play_many(count)
    reached = sum((one.reached for one in played), Counter[str]())
    tell(f"{len(played)} scenarios reached:")
    for name in sorted(all_there_is() - ELSEWHERE.keys()):
        tell(f"  {reached[name]:7}  {name}")
    broken = [one for one in played if one.broken]
    assert [] == broken, "\n".join(map(str, broken[:SHOWN]))
    assert set() == {n for n in all_there_is() - ELSEWHERE.keys() if not reached[n]}
    assert set() == {name for name in ELSEWHERE if reached[name]}
