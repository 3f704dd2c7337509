"""One invented report of 42 results in eight forms, and the demo's own."""

from pathlib import Path

import pytest
from molmass import Formula

from slackwater.outside.lab import LabReport, Wishes, read_report
from tests.outside.lab.reports import SAMPLES, by_parameter, levels

DEMO = Path(__file__).resolve().parents[3] / "demo" / "config" / "report.csv"
ONE_SAMPLE = sorted(
    path.name for path in SAMPLES.iterdir() if path.name != "replicates.csv"
)
# Figures as they stand in the files; in the canonical units the factors below apply.
STATED = {
    "calcium": 405.0,
    "magnesium": 1290.0,
    "potassium": 392.0,
    "sodium": 10850.0,
    "strontium": 7.2,
    "chloride": 19400.0,
    "boron": 4.52,
    "nitrate": 4.6,
    "iodine": 38.0,
    "aluminium": 12.0,
    "tin": 2.0,
    "copper": 0.75,
    "salinity": 34.6,
}
CENSORED = {
    *("chromium", "cobalt", "selenium", "lead", "mercury", "cadmium", "silver"),
    *("titanium", "tungsten", "lanthanum", "beryllium", "bismuth"),
}


def sample(name: str) -> LabReport:
    """One of the files, read without any help."""
    return read_report(SAMPLES / name, Wishes())


@pytest.mark.parametrize("name", [*ONE_SAMPLE, "replicates.csv"])
def test_a_common_form_is_read_without_a_mapping(name: str) -> None:
    """Every figure, every limit, and total phosphorus apart from phosphate."""
    report = sample(name)
    found = levels(report)
    assert pytest.approx(STATED) == {key: found[key] for key in STATED}
    assert {one.parameter for one in report.values if one.censored} == CENSORED
    assert (43, "Invented laboratory") == (len(report.values), report.laboratory)
    assert () == report.skipped
    assert "phosphate" not in found


@pytest.mark.parametrize("name", ONE_SAMPLE)
def test_forms_of_other_quantities_agree_with_the_library(name: str) -> None:
    """Sulfur as sulfate, phosphorus as phosphate, degrees of 10 mg/L CaO: molmass."""
    found = levels(sample(name))
    sulfate = 896.5 * Formula("SO4").mass / Formula("S").mass
    phosphate = 0.018 * Formula("PO4").mass / Formula("P").mass
    alkalinity = 7.4 * 20 / Formula("CaO").mass
    assert pytest.approx(sulfate, rel=2e-4) == found["sulfate"]
    assert pytest.approx(phosphate, rel=2e-4) == found["phosphate total phosphorus"]
    assert pytest.approx(alkalinity, rel=2e-4) == found["alkalinity"]


def test_one_report_is_one_report_in_every_form() -> None:
    """CSV long and wide, three separators, three encodings, JSON of two kinds."""
    digests = {sample(name).digest for name in ONE_SAMPLE}
    assert (7, 1) == (len(ONE_SAMPLE), len(digests))


def test_the_report_of_the_demo_is_read_without_help() -> None:
    """As many elements as here; its figures are the demo's own."""
    report = read_report(DEMO, Wishes())
    assert (43, ()) == (len(report.values), report.skipped)


@pytest.mark.parametrize("name", [n for n in ONE_SAMPLE if n != "wide_unit_row.csv"])
def test_quantification_limits_are_kept(name: str) -> None:
    """Canonical, for all but total phosphorus, whose limit is not phosphate's."""
    limits = sample(name).limits
    assert (41, 0.2, 0.3) == (len(limits), limits["chromium"], limits["tin"])
    assert "phosphate" not in limits


def test_a_detection_limit_is_no_quantification_limit() -> None:
    """It makes "not detected" a figure, and is not kept as the other."""
    report = sample("wide_unit_row.csv")
    assert {} == report.limits
    assert 0.05 == levels(report)["lead"]


def test_replicates_are_averaged_and_their_spread_is_kept() -> None:
    """Three columns: 404, 405 and 406 mg/L of calcium."""
    value = by_parameter(sample("replicates.csv"))["calcium"]
    assert value.level == 405
    assert value.spread == 2
    assert 3 == value.replicates
    assert "404 mg/L | 405 mg/L | 406 mg/L" == value.typed


@pytest.mark.parametrize("path", [*SAMPLES.iterdir(), DEMO], ids=lambda path: path.name)
def test_every_sample_says_that_it_is_invented(path: Path) -> None:
    """No such reef and no such laboratory exists."""
    assert b"Invented laboratory" in path.read_bytes()
