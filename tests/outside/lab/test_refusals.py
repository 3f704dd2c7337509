"""Malformed reports: each is refused as a whole, told at the right place.

Where a finding stands is the part that a person needs first: line, then column.
"""

from dataclasses import dataclass
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.lab import Wishes, read_report
from slackwater.outside.lab.cells import FINDINGS_AT_MOST
from slackwater.outside.lab.decoding import REPORT_BYTES_AT_MOST
from tests.outside.lab.reports import levels, read, refusals

HEAD = "Element;Value;Unit\n"
LONG = HEAD + "Ca;405;mg/L\n"


@dataclass(frozen=True)
class Bad:
    """A file, where its first finding stands, and words of it."""

    content: str | bytes
    where: str
    what: str
    name: str = "report.csv"

    def __str__(self) -> str:
        """What is wrong, for the list of tests."""
        return f"{self.where or 'file'}: {self.what}"[:60]


def at(line: int, column: int) -> str:
    """A place as findings write it."""
    return f" line {line}, column {column}"


def row(text: str) -> str:
    """A long report with one more row, the third line."""
    return f"{LONG}{text}\n"


FILES = [
    Bad(
        "Sample;Ca;Mg\nUnit;mg/L;mg/L\nA;420;1300\nUnits;g/L;\n", at(4, 2), "in line 2"
    ),
    Bad("Sample;Ca [mg/L]\nLOQ;1\nLOQ;5\nReef;420\n", at(3, 2), "in line 2"),
    Bad("", "", "empty"),
    Bad(" \n\t\n", "", "empty"),
    Bad(b"\xef\xbb\xbf", at(1, 1), "names the columns"),
    Bad(b"\x00\x01\x02\x03" * 100, " line 1", "U+0000"),
    Bad(b"PK\x03\x04" + bytes(range(256)), " line 2", "0x81"),
    Bad(b"%PDF-1.7\n\x01\x02", " line 2", "U+0001"),
    Bad("Element;Value;Unit\n".encode("utf-16"), "", "UTF-16"),
    Bad(LONG.encode() + b"\x07", " line 3", "U+0007"),
    Bad(LONG + "Mg\u200b;1290;mg/L\n", " line 3", "U+200B"),
    Bad(b"a" * (REPORT_BYTES_AT_MOST + 1), "", "larger than 1024 KiB"),
    Bad('Element;Value;Unit\nCa;"405;mg/L\n', " line 2", "cannot be read"),
    Bad('Element;Value;Unit\nCa;"4"05;mg/L\n', " line 2", "cannot be read"),
    Bad("Ca;" * 600 + "\n", " line 1", "601 cells"),
    Bad(HEAD + "Ca;405;mg/L\n" * 3000, " line 2001", "2001 rows"),
    Bad(HEAD + f"Ca;{'4' * 1001};mg/L\n", " line 2", "1001 letters"),
    Bad(HEAD + f"Ca;{'4' * 200_000};mg/L\n", " line 2", "cannot be read"),
]

HEADS = [
    Bad("hello\n", at(1, 1), "no row names the columns"),
    Bad("Ca;405;mg/L\nMg;1290;mg/L\n", at(1, 1), "no row names the columns"),
    Bad("Lorem;Ipsum\nCa;405\n", at(1, 1), "no row names the columns"),
    Bad(
        "Probe;S-7\nDatum;gestern\nParameter;Ergebnis;Einheit\nCa;405;mg/L\n",
        at(3, 1),
        'the likeliest reads "Parameter, Ergebnis',
    ),
    Bad("Element;Value;Unit;Range\nCa;405;mg/L;1\n", at(1, 4), 'the column "Range"'),
    Bad("Element;Value;Unit;Date\nCa;405;mg/L;1\n", at(1, 4), 'the column "Date"'),
    Bad("Element;Value;Unit;Unit\nCa;405;mg/L;\n", at(1, 4), 'second column is "unit"'),
    Bad("Element;Value;LOD;LOD;Unit\nCa;405;;;mg/L\n", at(1, 4), "second column"),
    Bad(f"Ordered by;me\n{LONG}", at(1, 1), 'the column "Ordered by"'),
    Bad(f"All values in mg/kg\n{LONG}", at(1, 1), 'the column "All values'),
    Bad(f"Sample;a\nSample;b\n{LONG}", at(2, 2), '"sample" is said twice'),
    Bad(f"Salinity;salty;PSU\n{LONG}", at(1, 2), "no number"),
    Bad(f"Received;03/04/2026\n{LONG}", at(1, 2), "no date"),
    Bad("Ca [mg/L];Mg [mg/L];Xx\n405;1290;1\n", at(1, 3), 'the column "Xx"'),
    Bad("Xx;Ca [mg/L]\n1;405\n", at(1, 1), 'the column "Xx"'),
    Bad("Ca [mg/L];Mg [mg/L]\n405;1290;77\n", at(2, 3), "column without a head"),
    Bad("Element;;Value;Unit\nCa;odd;405;mg/L\n", at(2, 2), "column without a head"),
]

ROWS = [
    Bad(row("Xx;1;mg/L"), at(3, 1), 'the element "Xx"'),
    Bad(row("Au;0.1;ug/L"), at(3, 1), 'the element "Au"'),
    Bad(row("Calcum;1;mg/L"), at(3, 1), 'the element "Calcum"'),
    Bad(row(";1290;mg/L"), at(3, 1), "names no element"),
    Bad(row("Mg;1290;mg/L;more"), at(3, 4), "column without a head"),
    Bad(row("Mg;1290;"), at(3, 2), "nothing says the unit"),
    Bad(row("Mg;1290"), at(3, 2), "nothing says the unit"),
    Bad(row("Mg;1290;-"), at(3, 2), "nothing says the unit"),
    Bad(row("Mg;1290;foo"), at(3, 3), 'the unit "foo"'),
    Bad(row("Mg;1290;MG/L"), at(3, 3), 'the unit "MG/L"'),
    Bad(row("Mg;1290;ppt"), at(3, 3), 'the unit "ppt"'),
    Bad(row("Mg;8.4;dKH"), at(3, 2), 'no unit "dKH"'),
    Bad(row("Mg;1290 mg/L;ug/L"), at(3, 2), "said to be"),
    Bad(row("KH;8.4;mg/L"), at(3, 2), 'no unit "mg/L"'),
    Bad(row("pH;8.1;mg/L"), at(3, 2), 'no unit "mg/L"'),
    Bad(row("Salinity;35;ppt"), at(3, 3), 'the unit "ppt"'),
    Bad(row("NO3-N;1.1;mg/L NO3"), at(3, 2), "the name says nitrate as NO3-N"),
    Bad(row("Mg;;mg/L"), at(3, 2), "no result"),
    Bad(row("Mg;n/a;mg/L"), at(3, 2), "no result"),
    Bad(row("Mg;abc;mg/L"), at(3, 2), "no number"),
    Bad(row("Mg;1.2.3;mg/L"), at(3, 2), "no number"),
    Bad(row("Mg;12 34;mg/L"), at(3, 2), "no number"),
    Bad(row("Mg;NaN;mg/L"), at(3, 2), "not a finite number"),
    Bad(row("Mg;inf;mg/L"), at(3, 2), "not a finite number"),
    Bad(row("Mg;-inf;mg/L"), at(3, 2), "not a finite number"),
    Bad(row("Mg;1e999;mg/L"), at(3, 2), "no number"),
    Bad(row("Mg;#DIV/0!;mg/L"), at(3, 2), "not a finite number"),
    Bad(row("Al;-0.2;ug/L"), at(3, 2), "negative"),
    Bad(row("Al;>500;ug/L"), at(3, 2), "above what the laboratory"),
    Bad(row("Al;<0;ug/L"), at(3, 2), "says nothing"),
    Bad(row("Al;n.d.;ug/L"), at(3, 2), "nothing says what that limit is"),
    Bad(row("Al;< LOQ;ug/L"), at(3, 2), "nothing says what that limit is"),
    Bad(row("Mg;1290*;mg/L"), at(3, 2), 'the unit "*"'),
    Bad(row("Mg;8.4;mg/L"), at(3, 2), "not a plausible magnesium"),
    Bad(row("Mg;2500;mg/L"), at(3, 2), "not a plausible magnesium"),
    Bad(row("Mg;99999;mg/L"), at(3, 2), "not a plausible magnesium"),
    Bad(row("Mg;1290;ug/L"), at(3, 2), "not a plausible magnesium"),
    Bad(row("Salinity;1.0264;PSU"), at(3, 2), "not a plausible salinity"),
    Bad(row("pH;81;pH"), at(3, 2), "not a plausible pH"),
    Bad(row("KH;150;dKH"), at(3, 2), "not a plausible alkalinity"),
    Bad(row("Ca;410;mg/L\nMg;1290;mg/L"), at(3, 1), "calcium is there twice"),
    Bad(row("Calcium;405;mg/L\nMg;1290;mg/L"), at(3, 1), "calcium is there twice"),
    Bad(row("S;890;mg/L\nSO4;2700;mg/L"), at(4, 1), "sulfate is there twice"),
    Bad(row("NO3;4;mg/L\nNO3-N;0.9;mg/L"), at(4, 1), "nitrate is there twice"),
    Bad(
        "Element;Name;Value;Unit\nCa;Magnesium;405;mg/L\n", at(2, 1), "are not the same"
    ),
    Bad("Element;Value;Unit;LOQ\nAl;12;ug/L;many\n", at(2, 4), "no number"),
    Bad("Element;Value;Unit;SD\nAl;12;ug/L;5 foo\n", at(2, 4), 'the unit "foo"'),
]

MARKS = [
    Bad(HEAD + "Mg;1,234;mg/L\n", at(2, 2), "read in two ways"),
    Bad(HEAD + "Mg;1.234;mg/L\n", at(2, 2), "read in two ways"),
    Bad(HEAD + "Ca;405;mg/L\nMg;1,234;mg/L\nI;<1.234;ug/L\n", at(3, 2), "two ways"),
    Bad(HEAD + "Ca;405.5;mg/L\nMg;1290,5;mg/L\n", at(3, 2), "different decimal marks"),
    Bad(HEAD + "Ca;405,5;mg/L\nI;38.25;ug/L\n", at(3, 2), "different decimal marks"),
    Bad('Element,Value,Unit\nMg,"1,234",mg/L\n', at(2, 2), "read in two ways"),
    Bad("Element,Value,Unit\nMg,1290,5,mg/L\n", at(2, 3), 'the unit "5"'),
]

SAMPLES = [
    Bad("Sample;Ca [mg/L]\nA;405\nB;410\n", at(3, 1), "several samples"),
    Bad(
        "Element;Value;Unit;Sample\nCa;405;mg/L;A\nCa;410;mg/L;B\n", at(3, 4), "several"
    ),
    Bad(
        "Element;Value;Unit;Sampled\nCa;405;mg/L;2026-05-01\nMg;1290;mg/L;2026-05-02\n",
        at(3, 4),
        '"sampled" is "2026-05-02" here',
    ),
    Bad(HEAD, "", "holds no result"),
    Bad("Ca [mg/L];Mg [mg/L]\n", "", "holds no result"),
]


def json(text: str, line: int, column: int, what: str) -> Bad:
    """A malformed JSON report."""
    return Bad(text, at(line, column), what, name="report.json")


OBJECTS = [
    json("{", 1, 2, "no key"),
    json("[", 1, 2, "no JSON"),
    json("[]", 1, 1, "no row names the columns"),
    json("{}", 1, 1, "no row names the columns"),
    json("[1, 2]", 1, 2, "no object"),
    json('{"Ca": {"value": 405, "unit": "mg/L"}', 1, 38, 'no ","'),
    json('{"Ca": {"value": 405 "unit": "mg/L"}}', 1, 22, 'no ","'),
    json('{"Ca": {"value": 405,}}', 1, 22, "no key"),
    json('{"Ca": {"value" 405}}', 1, 17, 'no ":"'),
    json('{"Ca": {"value": 405}} x', 1, 24, "behind the end"),
    json('{"Ca": 405, \n "Ca": 410}', 2, 2, 'the key "Ca" stands there twice'),
    json('{"Ca": {"value": 1,\n"value": 2}}', 2, 1, '"value" stands there twice'),
    json('[[[[[["deep"]]]]]]', 1, 5, "nest too deeply"),
    json('{"Ca": {"value": true}}', 1, 18, "found true"),
    json(
        '{"Ca": {"value": {"is": 405}}, "Mg": {"value": 1}}', 1, 18, "table stands in a"
    ),
    json('{"Ca": {"value": "405}', 1, 18, "not closed"),
    json('{"Ca": {"value": 405, "unit": "mg\\u0000/L"}}', 1, 31, "does not print"),
    json('{"Ca": {"value": NaN, "unit": "mg/L"}}', 1, 18, "not a finite number"),
    json('{"Ca": {"value": -1, "unit": "mg/L"}}', 1, 18, "negative"),
    json('{"Ca": {"value": 1e999, "unit": "mg/L"}}', 1, 18, "no number"),
    json('{"Ca": {"value": null, "unit": "mg/L"}}', 1, 18, "no result"),
    json('{"Ca": {"value": 405, "unit": "mg/L", "grade": 1}}', 1, 39, '"grade"'),
    json('{"Xx":\n {"value": 405, "unit": "mg/L"}}', 1, 2, 'the element "Xx"'),
    json('[{"element": "Ca",\n  "value": 8.4,\n  "unit": "dKH"}]', 2, 12, '"dKH"'),
    json('[{"was":"Ca","wert":405}]', 1, 3, "no row names the columns"),
    json('{"Ca": {"value": "1,234", "unit": "mg/L"}}', 1, 18, "read in two ways"),
]

EVERY = [*FILES, *HEADS, *ROWS, *MARKS, *SAMPLES, *OBJECTS]


@pytest.mark.parametrize("bad", EVERY, ids=str)
def test_a_malformed_report_is_refused_where_it_is_wrong(
    tmp_path: Path, bad: Bad
) -> None:
    """The first finding names file, line and column, and what was found there."""
    first = refusals(tmp_path, bad.content, name=bad.name)[0]
    assert f"{bad.name}{bad.where}" == first.where
    assert bad.what in first.what
    assert first.expected
    assert first.do


@pytest.mark.parametrize("unit", ["dKH/L", "\u00b0dH / l", "dKH per litre", "dKH L-1"])
def test_a_unit_with_a_litre_too_many_is_told_without(
    tmp_path: Path, unit: str
) -> None:
    """A degree of hardness has no litre behind it: the finding names it as it is."""
    found = refusals(tmp_path, HEAD + f"KH;8.1;{unit}\n")
    assert 1 == len(found)
    assert 'Did you mean "dKH"? It has no litre behind it.' in found[0].do


def test_there_are_enough_of_them() -> None:
    """Sixty at least, none twice."""
    assert len({(bad.content, bad.name) for bad in EVERY}) == len(EVERY) >= 60


def test_everything_wrong_is_told_at_once_in_the_order_of_the_file(
    tmp_path: Path,
) -> None:
    """A column, three rows and an option, in one answer."""
    text = (
        "Element;Value;Unit;Range\nXx;1;mg/L;\nMg;abc;mg/L;\nCa;8.4;dKH;\nK;392;mg/L;\n"
    )
    found = refusals(tmp_path, text, skip=("Gold",), confirm=("K",))
    assert ["report.csv" + at(*spot) for spot in ((1, 4), (2, 1), (3, 2), (4, 2))] == [
        one.where for one in found[:4]
    ]
    assert ["--skip", "--confirm"] == [one.where for one in found[4:]]


def test_a_flood_of_findings_is_cut_short_and_says_so(tmp_path: Path) -> None:
    """Nobody reads ten thousand lines."""
    text = HEAD + "Xx;1;mg/L\n" * 1_500
    found = refusals(tmp_path, text)
    assert FINDINGS_AT_MOST + 1 == len(found)
    assert f"{1_500 - FINDINGS_AT_MOST} more" in found[-1].what


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (row("Xx;1;mg/L"), 'skip = ["Xx"]'),
        (row("Calcum;1;mg/L"), '"Calcum" = "calcium"  under [elements]'),
        (
            "Element;Value;Unit;Range\nCa;405;mg/L;\n",
            '"Range" = "skip"  under [columns]',
        ),
        ("Element;Value;Unitt\nCa;405;mg/L\n", '"Unitt" = "unit"  under [columns]'),
        (row("Mg;1290;"), '"Mg" = "..."  under [units]'),
        (row("Mg;1290;foo"), '"foo" = "..."  under [units]'),
        (row("Pb;n.d.;ug/L"), '"Pb" = "... ug/L"  under [limits]'),
        (HEAD + "Mg;1,234;mg/L\n", 'decimals = "comma"'),
        ("Sample;Ca [mg/L]\nA;405\nB;410\n", 'samples = ["B"]'),
        ("Was;Wert\nCa;405\n", '"Was" = "element"  under [columns]'),
    ],
)
def test_a_refusal_names_the_line_to_add(tmp_path: Path, text: str, line: str) -> None:
    """To be copied into the mapping as it is."""
    assert any(line in one.do for one in refusals(tmp_path, text))


GERMAN = "Nr;Name;Ergebnis;Einheit\n1;Calcium;405,2;mg/l\n2;Strontium;7,9;mg/l\n"


def test_the_lines_to_add_go_by_what_the_columns_hold(tmp_path: Path) -> None:
    """The figures are under Ergebnis, wherever it stands; names are no values."""
    text = GERMAN.replace("Nr;", "").replace("1;", "").replace("2;S", "S")
    text = text.replace("Name", "Was")
    (one,) = refusals(tmp_path, text)
    for line in ('"Was" = "element"', '"Ergebnis" = "value"', '"Einheit" = "unit"'):
        assert f"{line}  under [columns]" in one.do
    lines = '"Was" = "element"\n"Ergebnis" = "value"\n"Einheit" = "unit"\n'
    found = read(tmp_path, text, mapping=f'decimals = "comma"\n[columns]\n{lines}')
    assert {"calcium": 405.2, "strontium": 7.9} == levels(found)


@pytest.mark.parametrize(
    ("lesson", "column", "part"),
    [
        ('"Name" = "value"\n"Nr" = "element"', "Ergebnis", "value"),
        ('"Ergebnis" = "value"\n"Nr" = "skip"', "Einheit", "unit"),
    ],
)
def test_a_column_of_figures_or_units_is_never_offered_to_be_left_out(
    tmp_path: Path, lesson: str, column: str, part: str
) -> None:
    """Copied as it stands, the line must not lose what was measured."""
    found = refusals(tmp_path, GERMAN, mapping=f"[columns]\n{lesson}\n")
    (told,) = (one.do for one in found if f'column "{column}"' in one.what)
    assert f'"{column}" = "{part}"  under [columns]' in told
    assert "skip" not in told


def test_figures_beside_the_results_are_not_offered_as_results(tmp_path: Path) -> None:
    """Copied as it stands, a line must not take what is wanted for what was found."""
    text = "Element;Value;Unit;Soll\nCa;405;mg/L;420\n"
    (one,) = refusals(tmp_path, text)
    assert '"Soll" = "..."  under [columns]' in one.do
    assert "Only if it is no part of the results" in one.do


@pytest.mark.parametrize(
    ("number", "unit", "hint"),
    [
        ("1.29", "mg/L", "This cannot be confirmed"),
        ("1290", "ug/L", "Is the unit mg/L?"),
        ("2100", "mg/L", '--confirm "Mg"'),
    ],
)
def test_an_implausible_value_says_what_may_be_meant(
    tmp_path: Path, number: str, unit: str, hint: str
) -> None:
    """A unit that fits is asked about; what may be confirmed says how."""
    assert hint in refusals(tmp_path, row(f"Mg;{number};{unit}"))[0].do


def test_an_implausible_value_can_be_confirmed_by_name(tmp_path: Path) -> None:
    """In whatever spelling, and the value says so; far outside it stays refused."""
    report = read(tmp_path, row("Mg;2100;mg/L"), confirm=("magnesium",))
    assert [False, True] == [one.confirmed for one in report.values]
    assert refusals(tmp_path, row("Mg;25000;mg/L"), confirm=("Mg",))


@pytest.mark.parametrize("name", ["no-such-file.csv", "."])
def test_what_is_no_plain_file_is_refused(tmp_path: Path, name: str) -> None:
    """A missing file, a folder."""
    with pytest.raises(InputError):
        read_report(tmp_path / name, Wishes())


def test_a_device_without_an_end_is_not_read() -> None:
    """Nor is anything waited for."""
    with pytest.raises(InputError, match="not a plain file"):
        read_report(Path("/dev/zero"), Wishes())


def test_a_comma_that_separates_cells_is_no_decimal_mark(tmp_path: Path) -> None:
    """Then a point is one, even with three digits behind it."""
    report = read(tmp_path, "Element,Value,Unit\nSr,7.204,mg/L\n")
    assert {"strontium": 7.204} == levels(report)
