"""Limits that are left out, and whether another limit covers them.

The smallest sample: 50 mL a day of carbonate bring 1.31 dKH into 200 litres, 50 mL of
calcium 9.4 mg/L. No more than 1 dKH and 40 mg/L a day may be stated as a climb (common
practice, no source).
"""

from pathlib import Path

import pytest

from tests.cli.run_program import SMALLEST, changed, run

RISE = ', net_rise = "0.5 dKH/day"'
HOUR = "[pump.carbonate] most_per_hour"
NET = "[tank.reef.caps.alkalinity] net_rise"


def minded(config: Path) -> dict[str, str]:
    """What a check cautions of, by its place."""
    told = run("check", "--config", config, "--json")
    assert 0 == told.code
    cautions = told.document["cautions"]
    assert isinstance(cautions, list)
    return {one["where"]: one["what"] for one in cautions}


def test_an_hour_that_only_a_day_bounds_is_said() -> None:
    """Soda in one hour is too fast; the same volume of calcium is not."""
    told = minded(SMALLEST)
    assert [HOUR] == [place for place in told if place.endswith("most_per_hour")]
    assert "could come in one hour, alkalinity +1.31 dKH" in told[HOUR]


def test_an_hour_that_is_bounded_needs_no_word(tmp_path: Path) -> None:
    """Neither by its own limit nor by what may be poured in in a day."""
    day = 'most_per_day = "50 mL"'
    own = changed(
        tmp_path / "own", SMALLEST, slackwater=(day, f'{day}\nmost_per_hour = "9 mL"')
    )
    assert HOUR not in minded(own)
    gross = changed(
        tmp_path / "gross",
        SMALLEST,
        slackwater=('gross = "1.8 dKH/day"', 'gross = "1.1 dKH/day"'),
    )
    assert "alkalinity +1.1 dKH" in minded(gross)[HOUR]


@pytest.mark.parametrize(
    ("gross", "is_said"), [("1.8 dKH/day", True), ("1.0 dKH/day", False)]
)
def test_a_climb_that_only_gross_bounds_is_said(
    tmp_path: Path, gross: str, *, is_said: bool
) -> None:
    """Unless what may be poured in is no faster than animals stand."""
    line = f'{{ gross = "1.8 dKH/day"{RISE} }}'
    config = changed(tmp_path, SMALLEST, slackwater=(line, f'{{ gross = "{gross}" }}'))
    told = run("check", "--config", config, "--json").document["cautions"]
    assert isinstance(told, list)
    found = {one["where"]: one["what"] for one in told}
    assert is_said == (NET in found)
    if is_said:
        assert "all that gross allows, 1.8 dKH in a day" in found[NET]
