"""The page of an assessment, from records made by hand."""

from dataclasses import replace

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.records import Assessment, UptakeFound
from slackwater.cli.assess_document import assess_document, plain
from slackwater.cli.assess_text import assess_text, columns
from slackwater.facts.proposal import Ground
from tests.assessment.past import (
    DKH,
    NOW,
    deliveries,
    history,
    kept_tank,
    machine,
    measured,
    report,
    with_report,
)
from tests.assessment.pictures import seen, stands


def rich() -> Assessment:
    """A tank with something in every part of the page."""
    past = kept_tank(1.4, 1.2, days=9)
    more = [
        measured(name, level, 1)
        for name, level in {
            "salinity": 35.0,
            "temperature": 25.0,
            "ph": 8.2,
            "nitrate": 0.5,
            "calcium": 425.0,
            "magnesium": 1320.0,
        }.items()
    ]
    unseen = measured("phosphate", 0.02, 1, censored=True)
    odd = [measured("potassium", 400, day) for day in range(12, 2, -1)]
    far = measured("potassium", 500, 7.5)
    past = history(
        *past.measurements,
        *more,
        unseen,
        *odd,
        far,
        deliveries=deliveries({"alkalinity": 1.2 * DKH, "iodine": 0.2}, 29),
    )
    levels = {"copper": 5.0, "iodine": 60.0, "lithium": 1650.0, "tin": 0.5, "zinc": 3.0}
    levels |= {"sodium": 11033.0, "chloride": 19804.0}
    past = with_report(past, report(9, levels, limits={"tin": 0.5}, unseen=["tin"]))
    made = machine(dosed=("alkalinity", "calcium", "iodine"))
    return assess(past, made, "reef", NOW)


PAGE = assess_text(rich(), "Europe/Berlin")


def test_the_page_fits_eighty_columns() -> None:
    """Every line, whatever it holds."""
    assert [] == [line for line in PAGE.splitlines() if len(line) > 79]


@pytest.mark.parametrize(
    "words",
    [
        "reef, 2026-06-01 22:00 CEST",
        "What to do\n 1. ",
        "Where it stands\nLevel",
        "phosphate   mg/L",
        "<0.020",
        "Bands as parts of nature: calcium 0.95-1.07 of 422",
        "Moving: alkalinity -0.",
        "Nothing was seen; half of the limit is shown: phosphate.",
        "What the tank uses up\nUsed up",
        "yes, by drops",
        "Net balance of alkalinity",
        "Traces and contaminants, ug/L",
        "act, seen once",
        "Usual: zinc 3.",
        "Not seen: tin <0.5.",
        "Does it hang together\n",
        "Saturation of aragonite",
        "the NBS scale",
        "1 test of potassium stands out",
        "What is held back\n",
        "copper: no dose.",
        "common practice, no source",
    ],
)
def test_the_page_says(words: str) -> None:
    """Each part is there, in words."""
    assert words in PAGE


def test_a_level_has_its_error_on_the_sampling_day_and_now() -> None:
    """Carried on, it is less sure: 0.10 dKH of the test, 0.25 of today."""
    one = stands("alkalinity", 8.0 * DKH, sampled_sd=0.1 * DKH, level_sd=0.25 * DKH)
    found = Assessment(tank="reef", at=NOW, standings={"alkalinity": one})
    (row,) = (
        line
        for line in assess_text(found, "UTC").splitlines()
        if line.startswith("alkalinity ")
    )
    assert "8.00 ±0.25" in row
    assert "8.00 ±0.10" in row
    assert row.index("8.00 ±0.25") < row.index("8.00 ±0.10")


def test_what_was_dosed_since_has_a_row() -> None:
    """Iodine of 60 with nine days of 0.2 on top."""
    (row,) = (line for line in PAGE.splitlines() if line.startswith("iodine "))
    assert ["iodine", "60", "61.8", "61.4", "-", "80", "90", "usual"] == row.split()


def test_an_empty_assessment_is_short() -> None:
    """Parts that say nothing are left out."""
    bare = assess_text(Assessment(tank="reef", at=NOW, todo=("Test.",)), "UTC")
    assert ["reef, 2026-06-01 20:00 UTC", "What to do\n 1. Test."] == bare.split(
        "\n\n"
    )[:2]
    assert 3 == len(bare.split("\n\n"))


def test_salinity_alone_is_said_so() -> None:
    """A contaminant that is none."""
    trace = seen("lithium", 620.0, stage="usual", by_salinity=True, natural=None)
    page = assess_text(
        Assessment(tank="reef", at=NOW, traces={"lithium": trace}), "UTC"
    )
    assert "by salinity only" in page


def test_natural_calcium_is_said_so() -> None:
    """Where no test of it was young enough."""
    found = rich()
    assert found.carbonate is not None
    other = replace(found, carbonate=replace(found.carbonate, calcium_measured=False))
    assert "natural calcium" in assess_text(other, "UTC")


@pytest.mark.parametrize(
    ("per_day", "sd", "shown"),
    [
        (0.000592, 0.0454, ["0.001", "±0.075"]),
        (1.2345, 0.0333, ["1.234", "±0.055"]),
        (-0.0001, 0.05, ["0.000", "±0.082"]),
        (7.15, 2.14, ["7.2", "±3.5"]),
        (120.4, 30.0, ["120", "±49"]),
        (0.5, 0.0, ["0.5", "±0"]),
    ],
)
def test_an_uptake_has_no_digit_its_interval_takes_away(
    per_day: float, sd: float, shown: list[str]
) -> None:
    """Two digits of the interval, and the rate to the same place."""
    found = UptakeFound(
        parameter="calcium",
        per_day=per_day,
        sd_per_day=sd,
        level=420.0,
        level_sd=5.0,
        at=NOW,
        tests=9,
        span_days=8.0,
        provenance="hand",
        method="drops",
        enough=True,
    )
    page = assess_text(
        Assessment(tank="reef", at=NOW, uptakes={"calcium": found}), "UTC"
    )
    (row,) = (line for line in page.splitlines() if line.startswith("calcium"))
    assert shown == row.split()[2:4]


def test_a_test_is_shown_as_it_was_read() -> None:
    """424 that counts as 415 on the laboratory's scale stands there as 424."""
    calcium = stands("calcium", 415.0, sampled=415.0, bias=9.0)
    page = assess_text(
        Assessment(tank="reef", at=NOW, standings={"calcium": calcium}), "UTC"
    )
    (row,) = (line for line in page.splitlines() if line.startswith("calcium"))
    assert ["415", "424"] == [row.split()[2], row.split()[5]]


def test_a_newest_test_above_its_bound_is_the_one_that_is_shown() -> None:
    """Read an hour ago: not the older one that fits the tests before."""
    found = stands(
        "alkalinity",
        8.0 * DKH,
        word="high",
        above=11.2 * DKH,
        above_age_days=1 / 24,
        bound=9.5 * DKH,
    )
    page = assess_text(
        Assessment(tank="reef", at=NOW, standings={"alkalinity": found}), "UTC"
    )
    (row,) = (line for line in page.splitlines() if line.startswith("alkalinity dKH"))
    assert ["11.20", "1", "h"] == row.split()[5:8]


def test_the_last_column_folds() -> None:
    """Heads and figures to the right where they ask for it."""
    made = columns(
        ("Name", ">A day", "Why"), [("a", "1.5", "word " * 30), ("bb", "10", "")]
    )
    lines = made.splitlines()
    assert "Name A day Why" == lines[0]
    assert "a      1.5 word" == lines[1][:15]
    assert " " * 11 + "word" == lines[2][:15]
    assert "bb      10" == lines[-1]


def test_the_document_is_plain() -> None:
    """Names, lists and figures of six digits; nothing that JSON does not know."""
    document = assess_document(rich())
    assert "2026-06-01T20:00:00.000000Z" == document["at"]
    assert 0.123457 == plain(0.123456789)
    assert ["dose", None, 3] == plain(("dose", None, 3))
    assert "blocked" == plain(Ground.BLOCKED)
    assert "2026-06-01" == plain(NOW.date())
    assert {"a": [1.0]} == plain({"a": [1.0]})


def test_a_level_that_moves_fast_is_told_without_an_exponent() -> None:
    """Nothing, nothing and 5 mg/L a tenth of a day apart: 25 a day by the median."""
    levels = ((0.0, 5.0), (0.0, 4.9), (5.0, 4.8))
    tests = [measured("nitrate", level, days_ago) for level, days_ago in levels]
    page = assess_text(assess(history(*tests), machine(), "reef", NOW), "UTC")
    assert "Moving: nitrate +180 mg/L a week." in page
