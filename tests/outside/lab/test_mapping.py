"""Mappings: what they teach, and what is refused in them."""

from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.lab.columns import Role
from slackwater.outside.lab.mapping import MAPPING_BYTES_AT_MOST, Taught, read_mapping
from slackwater.outside.lab.names import Analyte
from slackwater.outside.lab.numbers import Figure
from tests.outside.lab.reports import levels, read, refusals, written

# Another language, another order, words and marks of its own: invented.
FOREIGN = (
    "Prufling;7\nStoff;Befund;Mass;Grenze;Nr\n"
    "Kalzium;405;mg/L;;1\nMagnesium;1.290;mg/L;;2\nJod;38;mikro;;3\n"
    "Blei;u.d.G.;;0,05 ug/L;4\nZinn;nichts;ug/L;;5\nGold;9;ug/L;;6\n"
)
LESSON = """
decimals = "comma"
skip = ["Gold", "Nr"]
below = ["u.d.G.", "nichts"]
[columns]
"Prufling" = "sample"
"Stoff" = "element"
"Befund" = "value"
"Mass" = "unit"
"Grenze" = "limit"
[elements]
"Kalzium" = "Ca"
"Jod" = "iodine"
"Blei" = "lead"
"Zinn" = "Sn"
[units]
"mikro" = "ug/L"
"Blei" = "ug/L"
[limits]
"Zinn" = "0.3 ug/L"
"""


def lesson(folder: Path, text: str | bytes) -> Taught:
    """What a mapping with this text teaches."""
    return read_mapping(written(folder, text, "mapping.toml"))


def test_a_mapping_teaches_a_whole_layout(tmp_path: Path) -> None:
    """Columns, names, units, words, limits, the decimal mark, what to leave out."""
    report = read(tmp_path, FOREIGN, mapping=LESSON)
    assert {
        "calcium": 405.0,
        "magnesium": 1290.0,
        "iodine": 38.0,
        "lead": 0.05,
        "tin": 0.3,
    } == levels(report)
    assert {"lead", "tin"} == {one.parameter for one in report.values if one.censored}
    assert (("Gold", "Nr"), "7") == (report.skipped, report.label)


def test_without_it_the_same_file_is_refused(tmp_path: Path) -> None:
    """No row names the columns."""
    assert "names the columns" in refusals(tmp_path, FOREIGN)[0].what


def test_a_mapping_becomes_a_record(tmp_path: Path) -> None:
    """Every part of the form, names in one way of writing."""
    assert Taught(
        decimals="comma",
        skip=("Gold", "Nr"),
        below=("u.d.G.", "nichts"),
        columns={
            "prufling": Role.SAMPLE,
            "stoff": Role.ELEMENT,
            "befund": Role.VALUE,
            "mass": Role.UNIT,
            "grenze": Role.LIMIT,
        },
        elements={
            "kalzium": Analyte(parameter="calcium"),
            "jod": Analyte(parameter="iodine"),
            "blei": Analyte(parameter="lead"),
            "zinn": Analyte(parameter="tin"),
        },
        units={"mikro": "ug/L", "blei": "ug/L"},
        limits={"zinn": Figure(number="0.3", unit="ug/L")},
    ) == lesson(tmp_path, LESSON)


def test_every_part_a_column_can_play_is_a_word_of_a_mapping(tmp_path: Path) -> None:
    """And "skip" beside them."""
    lines = "".join(f'"{role} of ours" = "{role}"\n' for role in Role)
    columns = lesson(tmp_path, f'[columns]\n{lines}"x" = "skip"\n').columns
    assert {*Role, None} == set(columns.values())


def test_a_mapping_comes_before_what_is_known(tmp_path: Path) -> None:
    """A laboratory may call phosphate P, or its blank column "Value"."""
    text = "Element;Value;Real;Unit\nP;77;0.05;mg/L\n"
    mapping = '[columns]\n"Value" = "skip"\n"Real" = "value"\n[elements]\n"P" = "PO4"\n'
    assert {"phosphate": 0.05} == levels(read(tmp_path, text, mapping=mapping))


@pytest.mark.parametrize("key", ["Ca", "calcium", "Calcium"])
def test_a_unit_may_be_taught_by_any_name_of_the_element(
    tmp_path: Path, key: str
) -> None:
    """Only where the file states none."""
    mapping = f'[units]\n"{key}" = "mg/L"\n'
    assert {"calcium": 405.0} == levels(
        read(tmp_path, "Element;Value\nCalcium;405\n", mapping=mapping)
    )
    text = "Element;Value;Unit\nCalcium;405;ppm\n"
    assert "said to be" in refusals(tmp_path, text, mapping=mapping)[0].what


def test_decimals_settle_what_can_be_read_in_two_ways(tmp_path: Path) -> None:
    """Either way, and a figure that contradicts is refused."""
    text = "Element;Value;Unit\nSr;7,204;mg/L\n"
    assert {"strontium": 7.204} == levels(
        read(tmp_path, text, mapping='decimals = "comma"\n')
    )
    found = refusals(tmp_path, text, mapping='decimals = "point"\n')
    assert "not a plausible strontium" in found[0].what
    text = "Element;Value;Unit\nSr;7,2;mg/L\n"
    found = refusals(tmp_path, text, mapping='decimals = "point"\n')
    assert "no number with a decimal point" in found[0].what


@pytest.mark.parametrize(
    ("text", "place", "what"),
    [
        ("", "mapping.toml", "empty"),
        ("nonsense", "mapping.toml", "not TOML"),
        ("skip = [[[" + "[" * 5000, "mapping.toml", "nest too deeply"),
        ('[columns]\n"a" = "value"\n"a" = "unit"\n', "mapping.toml", "twice"),
        (b"skip = ['\xe4']", "mapping.toml line 1", "0xe4"),
        (b"#" * (MAPPING_BYTES_AT_MOST + 1), "mapping.toml", "larger"),
        ('decimal = "comma"\n', "mapping.toml decimal", "nobody reads"),
        ('decimals = ","\n', "mapping.toml decimals", '","'),
        ("skip = 5\n", "mapping.toml skip", "found 5"),
        ("skip = [5]\n", "mapping.toml skip.0", "found 5"),
        ('columns = "value"\n', "mapping.toml columns", '"value"'),
        ('[columns]\n"a" = 5\n', "mapping.toml columns.a", "found 5"),
        ('[columns]\n"a" = "figure"\n', 'mapping.toml [columns] "a"', "figure"),
        ('[elements]\n"a" = "Xx"\n', 'mapping.toml [elements] "a"', "Xx"),
        ('[elements]\n"Au" = "..."\n', 'mapping.toml [elements] "Au"', "..."),
        ('[units]\n"a" = "MG/L"\n', 'mapping.toml [units] "a"', "MG/L"),
        ('[units]\n"Mg" = "..."\n', 'mapping.toml [units] "Mg"', "..."),
        ('[limits]\n"Xx" = "1 ug/L"\n', 'mapping.toml [limits] "Xx"', "Xx"),
        ('[limits]\n"Pb" = "1"\n', 'mapping.toml [limits] "Pb"', '"1"'),
        ('[limits]\n"Pb" = "0 ug/L"\n', 'mapping.toml [limits] "Pb"', "0 ug/L"),
        ('[limits]\n"Pb" = "0,5 ug/L"\n', 'mapping.toml [limits] "Pb"', "0,5"),
        ('[limits]\n"Pb" = "<1 ug/L"\n', 'mapping.toml [limits] "Pb"', "<1"),
        ('[limits]\n"Pb" = "... ug/L"\n', 'mapping.toml [limits] "Pb"', "..."),
    ],
)
def test_a_wrong_mapping_is_refused_at_its_key(
    tmp_path: Path, text: str | bytes, place: str, what: str
) -> None:
    """Gaps that a person was to fill included."""
    with pytest.raises(InputError) as caught:
        lesson(tmp_path, text)
    (found,) = caught.value.findings
    assert place == found.where
    assert what in found.what


def test_everything_wrong_with_a_mapping_is_told_at_once(tmp_path: Path) -> None:
    """Three tables, three findings."""
    text = '[columns]\n"a" = "b"\n[elements]\n"a" = "Xx"\n[units]\n"a" = "b"\n'
    with pytest.raises(InputError) as caught:
        lesson(tmp_path, text)
    assert 3 == len(caught.value.findings)


def test_a_mapping_may_name_what_this_report_lacks(tmp_path: Path) -> None:
    """It serves many reports; an option serves one."""
    text = "Element;Value;Unit\nCa;405;mg/L\n"
    assert read(tmp_path, text, mapping='skip = ["Gold"]\n').values
    assert "--skip" == refusals(tmp_path, text, skip=("Gold",))[0].where
