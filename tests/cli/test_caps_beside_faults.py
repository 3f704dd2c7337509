"""What a plan breaks is told beside faults that have nothing to do with it."""

from itertools import product
from pathlib import Path

import pytest

from tests.cli.run_program import CONFIG
from tests.cli.test_both_files import RATE, ZONE, Slips, spoiled, told

# What the sample's soda line of 36 mL in twelve doses breaks.
DOSE = ('most_per_dose = "4 mL"', 'most_per_dose = "2.9 mL"')
DAY = ('most_per_day = "50 mL"', 'most_per_day = "35 mL"')
LIMIT = ('day_limit = "80 mL"', 'day_limit = "30 mL"')
GROSS = ('gross = "1.8 dKH/day"', 'gross = "0.9 dKH/day"')
RISE = ('net_rise = "0.5 dKH/day"', 'net_rise = "0.01 dKH/day"')
# Faults of the files that leave the soda line as it is.
SWITCH = (
    "[broker]",
    '[switch.s]\ntank = "reef"\nrole = "skimmer"\nperiod = 5\n[broker]',
)
TARGET = ('calcium = "420 mg/L"', 'calcium = "420"')
CHLORIDE = ('"CaCl2"', '"CaC12"')
HOST = ('host = "localhost"', 'host = ""')
OTHER_DOSES = ('"calcium"\nper_day = "36 mL"\ndoses = 12', '"calcium"\ndoses = 12')
NAME = ('name = "smallest"', "name = 5")


def broken(config: Path) -> list[str]:
    """What of a plan breaks something, of files that are refused for other faults."""
    found = told(config)
    assert 2 == found.code
    return [one["what"] for one in found.errors if one["where"].startswith("line ")]


@pytest.mark.parametrize(
    ("cap", "word"),
    [
        (DOSE, "in one dose"),
        (DAY, "in its local day"),
        (LIMIT, "in the 25 h before it"),
        (GROSS, "adds 0.9428 dKH"),
        (RISE, "may raise the water"),
    ],
)
def test_a_cap_is_judged_beside_faults_elsewhere(
    tmp_path: Path, cap: tuple[str, str], word: str
) -> None:
    """In the same words as without them, of the line that is sound."""
    alone = [
        one["what"]
        for one in told(spoiled(tmp_path, (cap,), ())).errors
        if "carbonate" in one["where"]
    ]
    assert [one for one in alone if word in one]
    elsewhere: tuple[tuple[Slips, Slips], ...] = (
        ((SWITCH,), ()),
        ((TARGET,), ()),
        ((CHLORIDE,), ()),
        ((HOST,), ()),
        ((), (OTHER_DOSES,)),
        ((), (NAME,)),
        ((SWITCH, TARGET, CHLORIDE, HOST), (OTHER_DOSES, NAME)),
    )
    for machine, plan in elsewhere:
        found = broken(spoiled(tmp_path, (cap, *machine), plan))
        assert alone == [one for one in found if "carbonate" in one], (machine, plan)


@pytest.mark.parametrize(
    "fault",
    [
        ZONE,
        RATE,
        ('net_volume = "200 L"', 'net_volume = "200"'),
        ('"Na2CO3"', '"Na2C03"'),
        ('longest_run = "30 s"', 'longest_run = "30"'),
        ('smallest_dose = "0.5 mL"', 'smallest_dose = "5 mL"'),
        ('most_per_dose = "4 mL"', 'most_per_dose = "4"'),
        ('node = "shelf"', 'node = "shelv"'),
        ("[broker]", '[timing]\napart_gap = "5"\n\n[broker]'),
        ("[tank.reef.caps]", "[tank.reef.capz]"),
        ('gross = "1.8 dKH/day"', 'gross = "1.8 dKH"'),
        ('estimate = "1.0 dKH/day"', 'estimate = "1.0 dKH"'),
        ('low = "0.8 dKH/day"', 'low = "0.8"'),
        ("[reservoir.carbonate]", "[reservoir.carbonite]"),
        ("[tank.reef.uptake]", "[tank.reef.uptaken]"),
        ("alkalinity = { gross", "alkalinty = { gross"),
        ("alkalinity = { estimate", "alkalinty = { estimate"),
    ],
)
def test_a_cap_that_is_at_fault_itself_is_not_judged(
    tmp_path: Path, fault: tuple[str, str]
) -> None:
    """A figure that was refused makes no dose look wrong."""
    assert [] == broken(spoiled(tmp_path, (fault,), ()))


def test_an_uptake_at_fault_leaves_what_may_be_poured_in(tmp_path: Path) -> None:
    """The rise hangs on it, the gross addition does not."""
    low = ('low = "0.8 dKH/day"', 'low = "0.8"')
    found = broken(spoiled(tmp_path, (GROSS, RISE, low), ()))
    assert ["adds" in one for one in found] == [True]


def test_a_group_that_lacks_a_line_is_not_judged_by_the_rest(tmp_path: Path) -> None:
    """The line that stays is held to its caps, and no group looks wrong."""
    config = spoiled(tmp_path, (DOSE, CHLORIDE), ())
    errors = told(config).errors
    assert ["slackwater.toml [solution.calcium] formula", "line reef/carbonate"] == [
        one["where"] for one in errors
    ]


def test_half_an_exchange_is_not_judged_without_the_other(tmp_path: Path) -> None:
    """A pump of a pair that cannot be read takes both lines with it."""
    rate = (
        'reservoir = "new-water"\nrate = "400 mL/min"',
        'reservoir = "new-water"\nrate = "400"',
    )
    config = spoiled(tmp_path, (rate,), (), CONFIG / "exchange")
    assert [] == broken(config)


def test_every_verb_tells_it(tmp_path: Path) -> None:
    """Check, rehearse and approve refuse the same files for the same reasons."""
    config = spoiled(tmp_path, (DOSE, SWITCH), (OTHER_DOSES,))
    heard = [told(config, verb) for verb in ("check", "rehearse", "approve")]
    assert {2} == {one.code for one in heard}
    assert heard[0].errors == heard[1].errors == heard[2].errors
    assert 3 == len(heard[0].errors)


def test_any_fault_of_one_file_stands_beside_any_of_the_other(tmp_path: Path) -> None:
    """Shape, names, caps: what is told of each alone is told of both."""
    machines = (DOSE, LIMIT, TARGET, HOST, SWITCH)
    plans = (
        OTHER_DOSES,
        NAME,
        ('tank = "reef"\nsolution = "calcium"', 'tank = "rf"\nsolution = "calcium"'),
        ('"08:00-20:00"', '"08:00-20:00", "09:00-10:00"'),
    )

    def all_of(machine: Slips, plan: Slips) -> set[str]:
        errors = told(spoiled(tmp_path, machine, plan)).errors
        # A line that is left out is not judged, so what it breaks is not told.
        return {
            f"{one['where']} {one['what']}"
            for one in errors
            if not one["where"].startswith("line reef/calcium")
        }

    for one, other in product(machines, plans):
        assert all_of((one,), (other,)) == all_of((one,), ()) | all_of((), (other,))
