"""`check`: what is wrong, and what the plan would do to the water."""

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.cli.run_program import CONFIG, SMALLEST, changed, run
from tests.cli.stage import stage_of

# Sodium carbonate, 105.988 g/mol and two equivalents (IUPAC conventional weights): at
# 99 % and 100 g/L one millilitre holds 1.8681 meq, and a German degree is 10 mg/L CaO,
# 20/56.077 meq/L. 36 mL in 200 L therefore add 0.943 dKH.
CARBONATE_DKH = 36 * 100 * 0.99 / 105.988 * 2 / 200 / (20 / 56.077)
# CaCl2 with two waters, 147.013 g/mol, calcium 40.078 g/mol.
CALCIUM_MG_PER_L = 36 * 139 * 0.99 / 147.013 * 40.078 / 200


@pytest.mark.parametrize(
    ("sample", "verdict"),
    [
        ("smallest", "Nothing that refuses the plan, but 2 things to mind above."),
        ("chemistry", "Nothing that refuses the plan, but 1 thing to mind above."),
        ("two-tanks", "Nothing that refuses the plan, but 4 things to mind above."),
        ("relays", "Nothing that refuses the plan, but 4 things to mind above."),
        ("exchange", "Nothing found."),
    ],
)
def test_samples_are_fine(sample: str, verdict: str) -> None:
    """Every sample passes, as text and as a document; what was warned of is something.

    The warnings of a verdict are those that stand above it.
    """
    told = run("check", "--config", CONFIG / sample)
    assert (0, "") == (told.code, told.err)
    assert f"\n{verdict} Digest " in told.out
    document = run("check", "--config", CONFIG / sample, "--json").document
    assert [] == document["errors"]
    assert str(document["digest"])[:8] in told.out


def test_says_what_each_line_adds() -> None:
    """The effects of the smallest sample are those of the handbook's arithmetic."""
    document = run("check", "--config", SMALLEST, "--json").document
    lines = {line["line"]: line for line in document["lines"]}  # type: ignore[attr-defined]  # a list of tables
    (carbonate,) = lines["reef/carbonate"]["adds"]
    assert ("alkalinity", "dKH") == (carbonate["parameter"], carbonate["unit"])
    assert CARBONATE_DKH == pytest.approx(float(carbonate["added"]), abs=1e-4)
    (calcium,) = lines["reef/calcium"]["adds"]
    assert CALCIUM_MG_PER_L == pytest.approx(float(calcium["added"]), abs=1e-3)


def test_says_how_long_to_the_ceiling() -> None:
    """From target to target + 1.5 dKH at the pace of the plan."""
    document = run("check", "--config", SMALLEST, "--json").document
    expected = 1.5 / CARBONATE_DKH * 24
    assert {"reef": pytest.approx(expected, abs=0.1)} == document["hours_to_ceiling"]
    text = run("check", "--config", SMALLEST).out
    assert f"reef: {expected:.0f} h from target to alkalinity ceiling" in text


def test_all_findings_come_at_once(tmp_path: Path) -> None:
    """Errors of different tables, each with file, table and key; exit code 2."""
    config = changed(
        tmp_path,
        SMALLEST,
        slackwater=(
            'rate = "30 mL/min"\nsmallest_dose = "0.5 mL"',
            'rate = "30"\nsmallest_dose = "0.5 ML"',
        ),
    )
    told = run("check", "--config", config, "--json")
    assert 2 == told.code
    places = [error["where"] for error in told.errors]
    assert [
        f"slackwater.toml [pump.{pump}] {key}"
        for pump in ("calcium", "carbonate")
        for key in ("rate", "smallest_dose")
    ] == places


def test_a_broken_file_is_told_once(tmp_path: Path) -> None:
    """Machine and broker are read from one file; its grammar is one finding."""
    config = changed(tmp_path, SMALLEST, slackwater=('site = "home"', "site = home"))
    told = run("check", "--config", config, "--json")
    assert (2, 1) == (told.code, len(told.errors))
    assert "line 9" in told.errors[0]["what"]


@pytest.mark.parametrize(
    ("file", "old", "new", "place"),
    [
        ("slackwater", 'host = "localhost"', "port = 70000", "[broker] port"),
        ("slackwater", 'zone = "Europe/Berlin"', 'zone = "Mars"', "[tank.reef] zone"),
        ("slackwater", 'strength = "100 g/L"', 'strength = "inf g/L"', "strength"),
        ("slackwater", 'rate = "30 mL/min"', "rate = 30", "rate"),
        ("slackwater", 'channel = "b"', 'channel = "a"', "channel"),
        ("plan", 'per_day = "36 mL"', 'per_day = "nan mL"', "per_day"),
        ("plan", 'per_day = "36 mL"', "per_day = 36", "per_day"),
        ("plan", "doses = 12", "dosis = 12", "dosis"),
    ],
)
def test_bad_figures_are_told_with_their_place(
    tmp_path: Path, file: str, old: str, new: str, place: str
) -> None:
    """File, table and key, whichever of the two files is wrong; exit code 2."""
    config = changed(tmp_path, SMALLEST, **{file: (old, new)})
    told = run("check", "--config", config, "--json")
    assert (2, False) == (told.code, told.document["ok"])
    assert told.errors[0]["where"].startswith(f"{file}.toml ")
    assert place in told.errors[0]["where"]


def test_a_cap_that_is_too_low_is_a_finding(tmp_path: Path) -> None:
    """Exit code 1, the line named, and the smallest cap that fits."""
    config = changed(
        tmp_path,
        SMALLEST,
        slackwater=('most_per_day = "50 mL"', 'most_per_day = "41 mL"'),
    )
    told = run("check", "--config", config)
    assert (1, "") == (told.code, told.err)
    assert "line reef/carbonate" in told.out
    assert "42 mL in [pump.carbonate] most_per_day" in told.out
    assert 1 == run("check", "--config", config, "--json").code


def without_caps(folder: Path, sample: str) -> Path:
    """A copy of a sample in which no cap is stated."""
    folder.mkdir()
    for source in (CONFIG / sample).glob("*.toml"):
        text = source.read_text("utf-8")
        text = re.sub(r"(?m)^most_per_(dose|day|hour) = .*\n", "", text)
        text = re.sub(r"(?m)^\w+ = \{ gross = .*\n", "", text)
        (folder / source.name).write_text(text, "utf-8")
    return folder


@pytest.mark.parametrize("sample", ["smallest", "chemistry", "two-tanks"])
def test_pasted_lines_make_the_plan_fit(tmp_path: Path, sample: str) -> None:
    """Lines for missing caps are TOML, and with them in place nothing is found."""
    config = without_caps(tmp_path / "files", sample)
    before = run("check", "--config", config, "--json")
    assert 1 == before.code
    pasted = before.document["paste"]
    assert isinstance(pasted, list)
    text = (config / "slackwater.toml").read_text("utf-8")
    table = ""
    for line in pasted:
        if line.startswith("["):
            table = line
            continue
        tomllib.loads(line)
        text = text.replace(f"{table}\n", f"{table}\n{line}\n", 1)
    (config / "slackwater.toml").write_text(text, "utf-8")
    after = run("check", "--config", config, "--json")
    assert [] == after.errors
    assert [] == after.document["paste"]


def test_a_suggested_cap_says_its_volumes_as_people_read_them(tmp_path: Path) -> None:
    """Millilitres, as the cap itself: no bare number of microlitres beside it."""
    config = without_caps(tmp_path / "files", "smallest")
    pasted = run("check", "--config", config, "--json").document["paste"]
    assert isinstance(pasted, list)
    (line,) = {one for one in pasted if one.startswith("most_per_dose")}
    assert line == (
        'most_per_dose = "3.6 mL"  # largest dose 3 mL * 1.2, rounded up to 3.6 mL'
    )
    assert [] == [one for one in pasted if re.search(r"\d{4}|µL", one)]


def test_nothing_is_applied_by_itself(tmp_path: Path) -> None:
    """Suggesting twice leaves the files as they were."""
    config = without_caps(tmp_path / "files", "smallest")
    before = [path.read_bytes() for path in sorted(config.iterdir())]
    run("check", "--config", config)
    assert before == [path.read_bytes() for path in sorted(config.iterdir())]


def test_shortened_times_are_warned_about(tmp_path: Path) -> None:
    """A shorter gap is named, and is no finding."""
    config = changed(
        tmp_path,
        SMALLEST,
        slackwater=("[broker]", '[timing]\napart_gap = "1 min"\n[broker]'),
    )
    told = run("check", "--config", config)
    assert 0 == told.code
    assert "shorter or weaker than its defaults: apart_gap" in told.out


def test_a_level_that_would_sink_below_its_floor_is_a_warning(tmp_path: Path) -> None:
    """0.26 dKH a day against 1 dKH: warned of as the rehearsal does, and no finding."""
    config = changed(tmp_path, SMALLEST, plan=('"36 mL"', '"10 mL"'))
    told = run("check", "--config", config, "--json")
    (sinks,) = list(told.document["sinking"])  # type: ignore[call-overload]  # a list
    assert 0 == told.code
    assert "reef would fall below its floor from " in sinks
    assert sinks.endswith("on, from its target with the uptake as stated.")
    assert f"Warning: {sinks}" in run("check", "--config", config).out
    assert [] == run("check", "--config", SMALLEST, "--json").document["sinking"]


def test_cautions_are_said_once() -> None:
    """Each solution's caution once, and the one for all stocks once."""
    text = run("check", "--config", SMALLEST).out
    assert 1 == text.count("warms up when dissolved")
    assert 1 == text.count("never mix them")


def test_a_line_at_fault_does_not_hide_the_others(tmp_path: Path) -> None:
    """One line below the smallest dose: the other one is still judged."""
    config = changed(tmp_path, SMALLEST, plan=("doses = 12", "doses = 200"))
    told = run("check", "--config", config, "--json")
    assert 1 == told.code
    assert "" == told.document["digest"]


@pytest.mark.parametrize(
    ("folder", "words", "count"),
    [("nowhere", "there is no directory", 1), ("empty", "cannot be read", 2)],
)
def test_what_is_missing_is_one_clear_error(
    tmp_path: Path, folder: str, words: str, count: int
) -> None:
    """The directory, or each of the two files."""
    (tmp_path / "empty").mkdir()
    told = run("check", "--config", tmp_path / folder, "--json")
    assert (2, count) == (told.code, len(told.errors))
    assert all(words in one["what"] for one in told.errors)


def test_a_document_is_one_line_of_strict_json() -> None:
    """No NaN, and nothing beside it on standard output."""
    told = run("check", "--config", SMALLEST, "--json")
    assert 1 == told.out.count("\n")
    assert "NaN" not in told.out
    head = list(json.loads(told.out))[:4]
    assert ["v", "command", "ok", "errors"] == head


def test_a_plan_without_alkalinity_never_reaches_its_ceiling(tmp_path: Path) -> None:
    """Said in words, not as an unknown number of hours."""
    salt = changed(tmp_path, SMALLEST, slackwater=("Na2CO3", "NaCl"))
    told = run("check", "--config", salt)
    assert (
        "reef: this plan never takes alkalinity from its target to a ceiling."
        in told.out
    )


def test_the_page_fits_the_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """80 columns and 60: what to know before touching a bottle runs over none."""
    for columns in (80, 60):
        monkeypatch.setenv("COLUMNS", str(columns))
        lines = run("check", "--config", SMALLEST).out.splitlines()
        prose = lines[lines.index("Before you touch a bottle") :]
        assert max(map(len, prose)) <= columns
        assert "Na2CO3" in " ".join(prose)


def test_h22_says_what_a_bottle_would_do_that_emptied_itself(tmp_path: Path) -> None:
    """2 L at 1.8681 meq/mL in 200 L are 52 dKH: a warning; 100 mL are 2.6: none."""
    told = run("check", "--config", SMALLEST)
    assert 0 == told.code
    assert "Warning: more than 3 dKH. Hang the outlet above" in told.out
    (bottle,) = bottles(SMALLEST, "carbonate")
    (added,) = bottle["adds"]
    rise = CARBONATE_DKH / 36 * 2000
    assert (2_000_000, True) == (bottle["content_ul"], bottle["warned"])
    assert rise == pytest.approx(float(added["added"]), rel=1e-4)
    assert f"carbonate emptied at once would raise alkalinity by {rise:.3g} dKH" in (
        told.out
    )
    small = changed(tmp_path, SMALLEST, slackwater=('"2 L"', '"0.1 L"'))
    (bottle,) = bottles(small, "carbonate")
    (added,) = bottle["adds"]
    assert rise / 20 == pytest.approx(float(added["added"]), rel=1e-4)
    assert bottle["warned"] is False


def bottles(config: Path, name: str) -> list[dict[str, Any]]:
    """What a check says of this bottle, once for each tank."""
    document = run("check", "--config", config, "--json").document
    return [one for one in document["bottles"] if one["reservoir"] == name]  # type: ignore[attr-defined]  # a list of tables


def test_a_bottle_lasts_as_long_as_in_the_status(tmp_path: Path) -> None:
    """One figure with its interval, of the ledger's books; by hand 2 L by 36 mL."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    assert 0 == stage.run("refill", "carbonate", "--content", "2 L").code
    told: Any = stage.run("check", "--json").document["lasts"]
    found = {one["reservoir"]: one for one in told}
    assert (2_000_000, 55.6) == (
        found["carbonate"]["left_ul"],
        found["carbonate"]["days"],
    )
    tanks: Any = stage.run("status", "--json").document["tanks"]
    shown = tanks[0]["reservoir"]
    for key in ("days", "days_low", "days_high"):
        assert found[shown["id"]][key] == round(shown[key], 1)
    assert shown["days_low"] < shown["days"] < shown["days_high"]
    assert "How long bottles last" in stage.run("check").out


def test_without_a_configuration_setup_is_named(tmp_path: Path) -> None:
    """Where there is no directory, and where it is empty."""
    for config in (tmp_path / "none", tmp_path):
        told = run("check", "--config", config, "--json")
        assert 2 == told.code
        assert all("`slackwater setup` writes both" in one["do"] for one in told.errors)
