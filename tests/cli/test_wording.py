"""Reasons for people: figures stand in the units people use."""

import pytest

from slackwater.cli.proposal_text import amount_words, sentence
from slackwater.cli.wording import reason_words
from slackwater.facts.figures import figure_words
from slackwater.facts.proposal import Ground, Grounded
from slackwater.facts.reasons import Code, Figure, because
from slackwater.facts.tank import Tank

# 1 meq/L is 2.80385 dKH: 10 mg/L CaO a degree, 56.077 g/mol, two equivalents.
MEQ_PER_DKH = 20 / 56.077


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("ceiling_meq_per_l", 9.5 * MEQ_PER_DKH, "ceiling 9.50 dKH"),
        ("cap_ul", 2400, "cap 2.4 mL"),
        ("asked_ul", 850, "asked 850 µL"),
        ("beat_age_s", 31.5, "beat age 31.5 s"),
        ("limit_ms", 20000, "limit 20 s"),
        ("pulse_ms", 250, "pulse 0.25 s"),
        ("left_s", 900, "left 15 min"),
        ("behind_s", 5400, "behind 90 min"),
        ("age_min", 90, "age 90 min"),
        ("share_percent", 50, "share 50 %"),
        ("free_bytes", 1048576, "free 1048576 bytes"),
        ("times", 3, "times 3"),
        ("age_days", 76, "age 76 days"),
        ("apart_dkh", 1.86, "apart 1.86 dKH"),
        ("life_h", 500.5, "life 500.5 h"),
        ("chance", 0.00025, "by chance once in 4000 times"),
        ("chance", 6e-20, "by chance less than once in a million times"),
        ("node", "shelf", "node shelf"),
        ("observe", True, "observe yes"),
        ("actuate", False, "actuate no"),
        ("beat_age_s", None, "beat age unknown"),
    ],
)
def test_a_figure_has_the_unit_of_its_name(
    name: str, value: Figure, words: str
) -> None:
    """The end of the name is the unit; a level is shown in German degrees."""
    assert words == figure_words(name, value)


def test_figures_stand_inside_the_sentence() -> None:
    """The full stop comes behind the bracket."""
    reason = because(Code.CAP_DOSE, asked_ul=5000, cap_ul=4000)
    assert "More than the pump's cap for one dose (asked 5 mL, cap 4 mL)." == (
        reason_words(reason)
    )
    assert "A person asked for a hold." == reason_words(because(Code.MANUAL_HOLD))


# 200 L: what changes calcium by 1 mg/L is 200 mg, in picograms.
REEF = Tank(id="reef", name="", net_ul=200_000_000, zone="UTC")
PG_PER_MG_PER_L = 200 * 10**9
OVER = because(
    Code.CAP_GROSS,
    parameter="calcium",
    charged=19 * PG_PER_MG_PER_L,
    asked=2 * PG_PER_MG_PER_L,
    outside=0,
    cap=20 * PG_PER_MG_PER_L,
)


def test_what_a_cap_counts_stands_in_the_unit_of_the_water() -> None:
    """19 and 2 mg/L against 20: nobody reads picograms."""
    told = reason_words(OVER, REEF)
    assert told.endswith("(calcium, charged 19 mg/L, asked 2 mg/L, cap 20 mg/L).")


def test_without_its_tank_a_cap_is_told_in_shares() -> None:
    """19/20 and 2/20."""
    told = reason_words(OVER)
    assert told.endswith("(calcium, charged 95 % of the cap, asked 10 % of the cap).")


@pytest.mark.parametrize(
    ("parameter", "level", "words"),
    [
        ("magnesium", 1303.2, "1303 mg/L"),
        ("sodium", 10780.4, "10780 mg/L"),
        ("alkalinity", 8.2 * MEQ_PER_DKH, "8.2 dKH"),
        ("iodine", 0.00002, "0.00002 ug/L"),
    ],
)
def test_a_level_of_a_proposal_has_no_exponent(
    parameter: str, level: float, words: str
) -> None:
    """Three digits that count, all before the point: 1303 and never 1.3e+03."""
    assert words == amount_words(parameter, level)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("nitrate_mg_per_l", 0.45, "(nitrate 0.45 mg/L)"),
        ("phosphate_mg_per_l", 0.012, "(phosphate 0.012 mg/L)"),
        ("celsius", 29.6, "(water 29.6 degC)"),
        ("same_days", 3, "(days without a change 3)"),
    ],
)
def test_what_stops_a_carbon_source_has_its_own_unit(
    key: str, value: float, words: str
) -> None:
    """Nitrate is mg/L, and not the mmol/L that the carbon is dosed in."""
    stops = Grounded(ground=Ground.CARBON_STOPS, figures={key: value})
    assert sentence(stops, "carbon").endswith(words)
