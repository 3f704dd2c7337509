"""`import` on a real ledger: stored whole, matched to its sample, taken once."""

import shlex
import shutil
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.cli.opening import opened
from slackwater.facts.waters import (
    MeasurementKept,
    ReportImported,
    SampleTaken,
)
from tests.cli.run_program import CONFIG, run
from tests.cli.stage import Stage, stage_of

LAB = Path(__file__).resolve().parents[1] / "outside" / "lab" / "samples"
REPORT = LAB / "long_points.csv"
VALUES = 43
DAYS_AGO = 5
COLUMNS = 80
SMALL = "Element;Value;Unit\nCa;405;mg/L\nMg;1290;mg/L\nAl;12;ug/L\nSr;7.25;mg/L\n"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger: one tank, "reef", in Berlin."""
    return stage_of(tmp_path)


@pytest.fixture
def two_tanks(tmp_path: Path) -> Stage:
    """Two tanks with a fresh ledger."""
    return stage_of(tmp_path, CONFIG / "two-tanks")


def day(stage: Stage, back: int = DAYS_AGO) -> datetime:
    """A moment so many days ago."""
    at: datetime = stage.stamp()["at"]
    return at - timedelta(days=back)


def take(stage: Stage, name: str, tank: str = "reef", back: int = DAYS_AGO) -> None:
    """Water of a tank goes into a bottle."""
    stage.append(
        SampleTaken(
            **stage.stamp(),
            sample=name,
            tank=tank,
            taken_at=day(stage, back),
            by="keeper",
        )
    )


def file(stage: Stage, text: str, name: str = "report.csv") -> Path:
    """A report beside the ledger."""
    path = stage.state.parent / name
    path.write_text(text, encoding="utf-8")
    return path


def measured(stage: Stage) -> Sequence[MeasurementKept]:
    """Every value in the ledger."""
    return [one for one in stage.events() if isinstance(one, MeasurementKept)]


def at(stage: Stage, back: int = DAYS_AGO) -> str:
    """A time so many days ago, as it is typed."""
    return f"{day(stage, back):%Y-%m-%dT%H:%M}+00:00"


def test_a_report_is_stored_whole(stage: Stage) -> None:
    """The report first, then its values, all with one stamp; nothing else."""
    take(stage, "S-1")
    before = len(stage.events())
    told = stage.run("import", REPORT, "--by", "keeper")
    assert 0 == told.code
    report, *values = stage.events()[before:]
    assert isinstance(report, ReportImported)
    assert ("reef", "S-1", "long_points.csv", VALUES, "keeper") == (
        report.tank,
        report.sample,
        report.file,
        report.values,
        report.by,
    )
    assert VALUES == len(values)
    assert {(report.at, report.boot_s)} == {(one.at, one.boot_s) for one in values}
    assert day(stage).date() == report.sampled_at.date()


def test_a_value_keeps_where_it_comes_from(stage: Stage) -> None:
    """Provenance, sample, report, text, method, limit."""
    take(stage, "S-1")
    stage.run("import", REPORT, "--by", "keeper")
    report = next(one for one in stage.events() if isinstance(one, ReportImported))
    found = {(one.parameter, one.method): one for one in measured(stage)}
    calcium, lead = found["calcium", ""], found["lead", ""]
    assert (405.0, "405 mg/L", "lab", "S-1", report.report, report.sampled_at) == (
        calcium.value,
        calcium.typed,
        calcium.provenance,
        calcium.sample,
        calcium.report,
        calcium.taken_at,
    )
    assert (0.05, True, "n.d. ug/L") == (lead.value, lead.censored, lead.typed)
    assert ("phosphate", "total phosphorus") in found
    assert ("phosphate", "") not in found
    assert VALUES == len({one.id for one in measured(stage)})


def test_a_dry_run_shows_the_same_and_stores_nothing(stage: Stage) -> None:
    """Figure for figure; exit code 0."""
    take(stage, "S-1")
    before = stage.events()
    words = ("import", LAB / "wide_heads.csv", "--json")
    dry = stage.run(*words, "--dry-run")
    assert (0, before) == (dry.code, stage.events())
    wet = stage.run(*words)
    assert {**dry.document, "stored": True} == wet.document


def test_the_page_fits_eighty_columns(stage: Stage) -> None:
    """Every value with unit and note; what was censored reads as less than."""
    told = stage.run("import", REPORT, "--sampled-at", at(stage), "--skip", "Sn")
    assert 0 == told.code
    *page, following = told.out.splitlines()
    assert COLUMNS >= max(map(len, page))
    assert following.startswith("Next: ")
    lines = [line.split() for line in told.out.splitlines()]
    assert ["KH", "7.40", "dKH"] in lines
    assert ["Pb", "<", "0.050", "ug/L"] in lines
    assert ["SO4", "2686", "mg/L", "given", "as", "S"] in lines
    assert ["Left", "out:", "Sn."] in lines
    assert "only tests at the tank are judged for" in told.out


def test_the_page_drops_no_digit_of_the_report(stage: Stage) -> None:
    """What was measured to a tenth is shown to a tenth; a conversion adds no digits."""
    text = (
        "Element;Value;Unit\nCa;412,5;mg/L\nMg;1290,25;mg/L\nSr;7,123;mg/L\n"
        "K;10,3;mmol/L\nFe;0,0012;mg/L\n"
    )
    told = stage.run("import", file(stage, text), "--sampled-at", at(stage))
    assert 0 == told.code
    rows = [line.split() for line in told.out.splitlines()]
    shown = {row[0]: row[1] for row in rows if row and row[0] in "Ca Mg Sr K Fe"}
    # 10.3 mmol/L of potassium at 39.0983 g/mol (IUPAC 2021) are 402.71 mg/L.
    expected = {"Ca": "412.5", "Mg": "1290.25", "Sr": "7.123", "K": "403", "Fe": "1.20"}
    assert expected == shown


def test_the_document_holds_every_value(stage: Stage) -> None:
    """Canonical figures with their unit, and what the laboratory states."""
    document = stage.run(
        "import", REPORT, "--sampled-at", at(stage), "--laboratory", "Ours", "--json"
    ).document
    values = document["values"]
    assert isinstance(values, list)
    assert (VALUES, "Ours", True) == (
        len(values),
        document["laboratory"],
        document["stored"],
    )
    assert {"parameter": "tin", "value": 2.0, "unit": "ug/L", "censored": False} == {
        key: value
        for key, value in next(v for v in values if v["parameter"] == "tin").items()
        if key in {"parameter", "value", "unit", "censored"}
    }


@pytest.mark.parametrize(
    "name", ["long_commas.csv", "wide_unit_row.csv", "list.json", "object.json"]
)
def test_the_same_report_is_known_in_any_form(stage: Stage, name: str) -> None:
    """Refused with the day it came in, and nothing is stored twice."""
    take(stage, "S-1")
    assert 0 == stage.run("import", REPORT).code
    before = stage.events()
    told = stage.run("import", LAB / name, "--json")
    assert 1 == told.code
    assert f"came in on {stage.stamp()['at']:%Y-%m-%d}" in told.errors[0]["what"]
    assert before == stage.events()


def test_a_part_of_a_report_is_no_new_one(stage: Stage) -> None:
    """Leaving one element out does not make the others new."""
    time = ("--sampled-at", at(stage))
    stage.run("import", file(stage, SMALL), *time)
    told = stage.run("import", file(stage, SMALL), *time, "--skip", "Ca", "--json")
    assert 1 == told.code
    assert "3 of its values came in" in told.errors[0]["what"]
    new = f"{SMALL}K;392;mg/L\n"
    skip = [word for name in ("Ca", "Mg", "Al", "Sr") for word in ("--skip", name)]
    assert 0 == stage.run("import", file(stage, new), *time, *skip).code


def test_another_report_with_a_figure_in_common_is_taken(stage: Stage) -> None:
    """Two of four alike is chance; limits and zeros do not count."""
    stage.run("import", file(stage, SMALL), "--sampled-at", at(stage, 9))
    other = SMALL.replace("405", "411").replace("1290", "1300") + "Pb;<0.1;ug/L\n"
    assert 0 == stage.run("import", file(stage, other), "--sampled-at", at(stage)).code


def test_without_sample_or_time_it_says_what_to_give(stage: Stage) -> None:
    """With the samples that wait, newest first, and none that has its report."""
    for name, back in (("S-7", 9), ("S-8", 6), ("S-9", 3)):
        take(stage, name, back=back)
    stage.run("import", file(stage, SMALL), "--sample", "S-8")
    told = stage.run("import", REPORT, "--json")
    assert (2, 1) == (told.code, len(told.errors))
    expected = told.errors[0]["expected"]
    assert "--sample ID or --sampled-at TIME" in expected
    assert expected.index("S-9 (reef, ") < expected.index("S-7 (reef, ")
    assert "S-8" not in expected


def test_an_unknown_sample_lists_the_open_ones(stage: Stage) -> None:
    """Or says that there is none."""
    told = stage.run("import", file(stage, SMALL), "--sample", "S-2", "--json")
    assert (2, "an open sample: none is open") == (
        told.code,
        told.errors[0]["expected"],
    )
    assert "`slackwater sample`" in told.errors[0]["do"]
    take(stage, "S-3")
    told = stage.run("import", file(stage, SMALL), "--sample", "S-2", "--json")
    assert "S-3 (reef, " in told.errors[0]["expected"]
    assert "`slackwater sample`" not in told.errors[0]["do"]
    assert [] == measured(stage)


def test_the_sample_gives_the_tank(two_tanks: Stage) -> None:
    """Another one that is named is an error; without a sample one must be named."""
    first, second = ("frags", "reef")
    take(two_tanks, "S-1", tank=second)
    report = file(two_tanks, SMALL)
    wrong = ("--sample", "S-1", "--tank", first)
    assert 2 == two_tanks.run("import", report, *wrong).code
    time = ("--sampled-at", at(two_tanks))
    assert 2 == two_tanks.run("import", report, *time).code
    assert 2 == two_tanks.run("import", report, *time, "--tank", "attic").code
    assert 0 == two_tanks.run("import", report, "--sample", "S-1").code
    assert {second} == {one.tank for one in measured(two_tanks)}


def test_a_time_without_an_offset_is_the_tanks_own(stage: Stage) -> None:
    """On its wall clock."""
    typed = f"{day(stage):%Y-%m-%d}T10:00"
    stage.run("import", file(stage, SMALL), "--sampled-at", typed)
    local = datetime.fromisoformat(typed).replace(tzinfo=ZoneInfo("Europe/Berlin"))
    assert {local} == {one.taken_at for one in measured(stage)}


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--sampled-at", "2190-01-01 10:00"), "lies ahead"),
        (("--sampled-at", "yesterday"), "is not a time"),
        (("--sampled-at", "2026-02-30 10:00"), "no time of the calendar"),
        (("--sample", "S-1", "--sampled-at", "2026-01-01 10:00"), "both given"),
        (("--sample", "S-1", "--laboratory", "a\x07b"), "cannot be printed"),
        (("--sample", "S-1", "--laboratory", "a" * 999), "the text has 999"),
        (("--sample", "S-1", "--skip", "Gold"), 'is called "Gold"'),
        (("--sample", "S-1", "--confirm", "Ca"), "needs no confirmation"),
    ],
)
def test_wrong_options_store_nothing(
    stage: Stage, words: tuple[str, ...], what: str
) -> None:
    """One finding, exit code 2."""
    take(stage, "S-1")
    told = stage.run("import", file(stage, SMALL), *words, "--json")
    assert (2, 1, []) == (told.code, len(told.errors), measured(stage))
    assert what in told.errors[0]["what"]


@pytest.mark.parametrize(
    ("above", "back", "code"),
    [
        ("Sampled", DAYS_AGO, 0),
        ("Sampled", DAYS_AGO + 1, 0),
        ("Sampled", DAYS_AGO + 3, 2),
        ("Received", DAYS_AGO - 1, 0),
        ("Received", DAYS_AGO, 0),
        ("Received", DAYS_AGO + 2, 2),
    ],
)
def test_dates_of_the_report_must_fit_the_sample(
    stage: Stage, above: str, back: int, code: int
) -> None:
    """Sampled within a day of it, received not before; else it is another report."""
    zone = ZoneInfo("Europe/Berlin")
    said = day(stage, back).astimezone(zone).date()
    report = file(stage, f"{above};{said}\n{SMALL}")
    words = ("import", report, "--sampled-at", at(stage))
    assert code == stage.run(*words).code
    assert bool(measured(stage)) is (code == 0)
    if code:
        assert 0 == stage.run(*words, "--skip", above).code


def test_everything_wrong_is_told_at_once(stage: Stage) -> None:
    """File, options and sample in one answer, and nothing is stored."""
    text = "Element;Value;Unit\nCa;8.4;dKH\nXx;1;ug/L\nMg;1290;mg/L\n"
    told = stage.run(
        "import", file(stage, text), "--sample", "S-2", "--skip", "Gold", "--json"
    )
    places = [error["where"] for error in told.errors]
    assert [
        "report.csv line 2, column 2",
        "report.csv line 3, column 1",
        "--skip",
        "--sample",
    ] == places
    assert (2, []) == (told.code, measured(stage))


def test_a_mapping_and_a_confirmation_are_taken(stage: Stage) -> None:
    """From a file, and by name."""
    mapping = file(stage, '[columns]\n"Stoff" = "element"\n', "lab.toml")
    report = file(stage, "Stoff;Value;Unit\nMg;2100;mg/L\n")
    words = ("--sampled-at", at(stage), "--mapping", mapping, "--confirm", "magnesium")
    assert 0 == stage.run("import", report, *words).code
    (value,) = measured(stage)
    assert (2100.0, True) == (value.value, value.confirmed)


def test_a_clock_behind_the_record_stores_nothing(stage: Stage) -> None:
    """Until it is set, or confirmed."""
    stamp = stage.stamp()
    stamp["at"] += timedelta(days=1)
    stage.append(
        SampleTaken(
            **stamp, sample="S-1", tank="reef", taken_at=day(stage), by="keeper"
        )
    )
    assert 1 == stage.run("import", file(stage, SMALL), "--sample", "S-1").code
    assert [] == measured(stage)


def test_a_missing_file_or_ledger_is_one_clear_error(stage: Stage) -> None:
    """Exit code 2, no traceback."""
    told = stage.run("import", stage.state / "none.csv", "--sampled-at", at(stage))
    assert (2, True) == (told.code, "cannot be read" in told.err)
    shutil.rmtree(stage.state)
    told = stage.run("import", file(stage, SMALL), "--sampled-at", "2026-01-01 10:00")
    assert (2, True) == (told.code, "there is no ledger" in told.err)


def test_the_chain_holds_after_an_import(stage: Stage) -> None:
    """Every entry reads back as it was written."""
    stage.run("import", REPORT, "--sampled-at", at(stage))
    with opened(stage.state) as found:
        assert [] == found.ledger.verify_all()


def test_one_value_is_told_as_one(stage: Stage, tmp_path: Path) -> None:
    """A report of calcium alone: one value, and no plural of it."""
    report = tmp_path / "one.csv"
    report.write_text("Element,Value,Unit\nCa,418,mg/L\n", encoding="utf-8")
    words = (report, "--sampled-at", "2026-05-03 10:00")
    assert "1 value would be." in stage.run("import", *words, "--dry-run").out
    assert "Stored: 1 value, report" in stage.run("import", *words).out


@pytest.mark.parametrize(
    ("level", "acted_on", "told"),
    [
        ("31", ["aluminium"], "TO ACT ON: aluminium 31 ug/L (from 30 on). Assess "),
        ("<31", [], "Next: `slackwater "),
        ("29", [], "Next: `slackwater "),
    ],
)
def test_what_is_to_be_acted_on_is_told_at_once(
    stage: Stage, tmp_path: Path, level: str, acted_on: list[str], told: str
) -> None:
    """A report raises no alarm: from 30 ug/L on (common practice) a person is told."""
    report = tmp_path / "one.csv"
    report.write_text(f"Element,Value,Unit\nAl,{level},ug/L\n", encoding="utf-8")
    words = ("import", report, "--sampled-at", at(stage))
    assert acted_on == stage.run(*words, "--dry-run", "--json").document["act"]
    page = " ".join(stage.run(*words).out.split())
    assert told in page
    (_, *following) = shlex.split(page.partition("Next: `")[2].partition("`")[0])
    assert "assess" == following[-1]
    assert run(*following).code in {0, 1}
