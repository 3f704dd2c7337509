"""`rehearse`: the document and the page come from one rehearsal."""

import re
from pathlib import Path

import pytest

from tests.cli.run_program import CONFIG, SMALLEST, changed, run

DAYS = 10


def volumes(document: dict[str, object]) -> dict[tuple[str, str], int]:
    """Volume by day and pump from the days of a document."""
    days = document["days"]
    assert isinstance(days, list)
    return {(day["date"], day["pump"]): day["volume_ul"] for day in days}


def test_document_holds_every_dose_and_its_sums() -> None:
    """Doses add up to days, and a day of the smallest sample is 36 mL a pump."""
    document = run("rehearse", "--config", SMALLEST, "--days", DAYS, "--json").document
    doses = document["doses"]
    assert isinstance(doses, list)
    assert 2 * 12 * DAYS == len(doses)
    sums: dict[tuple[str, str], int] = {}
    for dose in doses:
        key = dose["id"].split("@")[1].split("#")[0], dose["pump"]
        sums[key] = sums.get(key, 0) + dose["volume_ul"]
    assert sums == volumes(document)
    assert {36_000} == set(sums.values())
    assert ("2026-05-03", "2026-05-12") == (document["from"], document["until"])


def test_document_has_the_promised_keys() -> None:
    """Each kind of row has at least the keys other programs rely on."""
    document = run("rehearse", "--config", SMALLEST, "--days", 1, "--json").document
    expected = {
        "doses": "id line pump solution due latest volume_ul verdict reasons",
        "days": "date tank pump volume_ul cap_ul cap",
        "effects": "date tank parameter added net_rise unit cap",
    }
    for name, keys in expected.items():
        rows = document[name]
        assert isinstance(rows, list)
        assert set(keys.split()) <= set(rows[0])


def test_digest_is_the_one_of_check() -> None:
    """Both verbs print the digest an approval is bound to."""
    rehearsed = run("rehearse", "--config", SMALLEST, "--days", 1, "--json").document
    checked = run("check", "--config", SMALLEST, "--json").document
    assert checked["digest"] == rehearsed["digest"]


def read_back(text: str) -> dict[tuple[str, str], int]:
    """Volume by day and pump from the page of a rehearsal."""
    rows = re.findall(
        r"(?m)^(\w+) +(\d{4}-\d\d-\d\d)(?: to \d{4}-\d\d-(\d\d) \(\d+\))? +"
        r"([\d.]+) (mL|µL) +[\d.]+ mL$",
        text,
    )
    found = {}
    for pump, first, last, number, unit in rows:
        volume_ul = round(float(number) * (1000 if unit == "mL" else 1))
        month, day = first[:8], int(first[8:])
        for each in range(day, int(last or day) + 1):
            found[f"{month}{each:02d}", pump] = volume_ul
    return found


@pytest.mark.parametrize("sample", ["smallest", "chemistry"])
def test_the_page_says_what_the_document_says(sample: str) -> None:
    """The table of pumps, parsed back, gives the days of the document."""
    words = ("rehearse", "--config", CONFIG / sample, "--days", DAYS)
    assert volumes(run(*words, "--json").document) == read_back(
        run(*words, "--full").out
    )


def test_says_would_and_what_it_did_not_cover() -> None:
    """Never success, never dosed."""
    text = run("rehearse", "--config", SMALLEST, "--days", 2).out
    assert "would dose 48 times" in text
    assert "Not covered " in text
    assert "success" not in text.lower()


def test_highest_daily_volume_is_on_the_page() -> None:
    """What approving asks for can be read here: 36 mL by each of two pumps."""
    text = run("rehearse", "--config", SMALLEST, "--days", 2).out
    assert "Highest day  72 mL of one tank, all pumps together;" in text


def test_tells_the_day_a_bottle_runs_out() -> None:
    """2 L at 36 mL a day last 55 days; the 56th is 27 June.

    By hand: 2 L within 1 % and a rate within 10 %, both spread evenly, twice their
    deviation (JCGM 100:2008, 4.3.7): 1976.9 / 36 / 1.1155 and 2023.1 / 36 / 0.8845.
    """
    words = ("rehearse", "--config", SMALLEST, "--days", 60)
    assert "calcium: would run out on 2026-06-27" in run(*words, "--full").out
    assert "lasts 55.6 days (49 to 64), to Sat 2026-06-27" in run(*words).out
    document = run(*words, "--json").document
    assert {"calcium": "2026-06-27", "carbonate": "2026-06-27"} == document["empty"]


def test_tells_times_that_do_not_exist(tmp_path: Path) -> None:
    """On the night the clock goes forward 02:30 is left out, and is listed."""
    config = changed(
        tmp_path,
        SMALLEST,
        plan=(
            'per_day = "36 mL"\ndoses = 12\nwindows = ["20:00-08:00"]',
            'per_dose = "3 mL"\ntimes = ["02:30", "21:00"]',
        ),
    )
    text = (config / "plan.toml").read_text("utf-8")
    text = text.replace('group = "balanced"\n', "").split("# Both lines")[0]
    (config / "plan.toml").write_text(text.replace("2026-05-03", "2026-03-01"), "utf-8")
    words = ("rehearse", "--config", config, "--days", 2, "--from", "2026-03-28")
    document = run(*words, "--json").document
    assert 1 == len(document["left_out"])  # type: ignore[arg-type]  # a list
    assert "2026-03-29" in str(document["left_out"])
    assert "02:30" in run(*words).out


def test_what_a_cap_refuses_would_be_missed(tmp_path: Path) -> None:
    """With a cap below the dose nothing runs; the first dose is named with why."""
    config = changed(
        tmp_path,
        SMALLEST,
        slackwater=('most_per_dose = "4 mL"', 'most_per_dose = "2 mL"'),
    )
    told = run("rehearse", "--config", config, "--days", 1)
    assert 1 == told.code
    assert "would dose 0 times" in told.out
    told = run("rehearse", "--config", config, "--days", 1, "--full")
    assert "reef/carbonate: 12, the first reef/carbonate@2026-05-03#01" in told.out
    assert "More than the pump's cap for one dose (asked 3 mL" in told.out


def test_every_dose_on_request() -> None:
    """`--doses` lists each of them."""
    text = run("rehearse", "--config", SMALLEST, "--days", 1, "--doses").out
    assert all(f"reef/calcium@2026-05-03#{n:02d}  " in text for n in range(1, 13))
