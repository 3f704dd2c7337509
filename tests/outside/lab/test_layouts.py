"""Long and wide tables, what stands above them, and objects."""

from pathlib import Path

import pytest

from tests.outside.lab.reports import by_parameter, levels, read, refusals

CALCIUM = {"calcium": 405.0}
BOTH = {"calcium": 405.0, "aluminium": 12.0}


@pytest.mark.parametrize(
    "text",
    [
        "Element,Value,Unit\nCa,405,mg/L\nAl,12,ug/L\n",
        "Element;Value;Unit\nCa;405,0;mg/L\nAl;12,0;\u00b5g/L\n",
        "Symbol\tName\tResult\tUnits\nCa\tCalcium\t405\tmg/L\nAl\tAluminum\t12\tug/L\n",
        "Unit,Value,Element\nmg/L,405,Ca\nug/L,12,Al\n",
        "Element,Result\nCa,405 mg/L\nAl,12 ug/L\n",
        "Element,Result [mg/L]\nCa,405\nAl,0.012\n",
        "Element,mg/L\nCa,405\nAl,0.012\n",
        "Unit: mg/L\nElement,Value\nCa,405\nAl,0.012\n",
        "Units,mg/L\n\nElement,Value\nCa,405\n\nAl,0.012\n\n",
        "\nElement,Value,Unit\nCa,405,mg/L\nElement,Value,Unit\nAl,12,ug/L\n",
        'Element,Value,Unit\n"Ca","405","mg/L"\n"Al","12","ug/L"\n',
        "Ca [mg/L],Al [ug/L]\n405,12\n",
        "Ca (mg/l);Al (\u00b5g/l)\n405;12,0\n",
        "Ca,Al\nmg/L,ug/L\n405,12\n",
        "Element,Ca,Al\nUnit,mg/L,ug/L\nResult,405,12\n",
        ",Ca,Al\nUnits,mg/L,ug/L\nValue,405,12\n",
        "Sample;Ca [mg/L];Al [ug/L]\nS-1;405;12\n",
        "Unit;Ca;Al\nmg/L;405;0.012\n",
        "sep=;\nElement;Value;Unit\nCa;405;mg/L\nAl;12;ug/L\n",
        "# invented, not real\nElement,Value,Unit\nCa,405,mg/L\nAl,12,ug/L\n",
        "Element,Value,Unit\r\nCa,405,mg/L\r\nAl,12,ug/L\r\n",
        "Element,Value,Unit\rCa,405,mg/L\rAl,12,ug/L\r",
        "Element,Value,Unit,,\nCa,405,mg/L,,\nAl,12,ug/L,,\n",
        "44Ca,27Al\nmg/L,ug/L\n405,12\n",
        '"Ca\n[mg/L]","Al\r\n(ug/L)"\n405,12\n',
    ],
)
def test_a_table_is_read_in_any_common_layout(tmp_path: Path, text: str) -> None:
    """A row or a column for each element; the unit by row, column, head or file."""
    assert BOTH == levels(read(tmp_path, text))


@pytest.mark.parametrize(
    "text",
    [
        (
            '[{"element":"Ca","value":405,"unit":"mg/L"},'
            '{"unit":"ug/L","element":"Al","value":"12"}]'
        ),
        '{"Ca":{"value":405.0,"unit":"mg/L"},"Al":{"value":12,"unit":"ug/L"}}',
        '{"Ca [mg/L]":405,"Al [ug/L]":12}',
        '[{"Ca [mg/L]":405,"Al [ug/L]":12}]',
        (
            '{"sample":"S-1","results":[{"element":"Ca","value":405,"unit":"mg/L"},'
            '{"element":"Al","value":12,"unit":"ug/L"}]}'
        ),
        (
            '{"sample":"S-1","results":{"Ca":{"value":405,"unit":"mg/L"},'
            '"Al":{"value":12,"unit":"ug/L"}}}'
        ),
        '{"unit":"mg/L","Ca":{"value":4.05e2},"Al":{"value":0.012}}',
        '{"Ca":{"value":[405,405],"unit":"mg/L"},"Al":{"value":12,"unit":"ug/L"}}',
        (
            ' \n[\n {"element": "Ca", "value": "405 mg/L", "note": null},'
            '\n {"element": "Al", "value": "12 \\u00b5g/L"}\n]\n'
        ),
    ],
)
def test_objects_are_read_like_tables(tmp_path: Path, text: str) -> None:
    """A list of objects, an object of objects, one object, with texts above."""
    assert BOTH == levels(read(tmp_path, text, name="report.json"))


@pytest.mark.parametrize(
    ("encoding", "micro"),
    [
        *(("utf-8", "\u00b5"), ("utf-8", "\u03bc"), ("utf-8-sig", "\u03bc")),
        *(("latin-1", "\u00b5"), ("cp1252", "\u00b5"), ("utf-8", "u")),
    ],
)
def test_every_micro_sign_in_every_encoding(
    tmp_path: Path, encoding: str, micro: str
) -> None:
    """UTF-8 with and without its mark, Latin-1 and its larger brother."""
    text = f"Element;Value;Unit\nAl;12,0;{micro}g/L\n"
    assert {"aluminium": 12.0} == levels(read(tmp_path, text.encode(encoding)))


def test_old_encodings_may_hold_dashes_and_signs(tmp_path: Path) -> None:
    """A dash of Windows-1252 in a remark is text."""
    text = "Element;Value;Unit;Note\nCa;405;mg/L;fine \u2013 said the laboratory\n"
    value = by_parameter(read(tmp_path, text.encode("cp1252")))["calcium"]
    assert ("fine \u2013 said the laboratory",) == value.notes


def test_what_stands_above_is_understood(tmp_path: Path) -> None:
    """Sample, laboratory, days, unit, and results like the salinity."""
    report = read(
        tmp_path,
        "Laboratory;Invented laboratory\nSample: S-7\nSampling date;2026-05-01\n"
        "Date received;04.05.2026\nSalinity;34,2;PSU\nTemperature (\u00b0C);24,5\n"
        "Element;Value;Unit\nCa;405;mg/L\n",
    )
    assert ("S-7", "Invented laboratory") == (report.label, report.laboratory)
    assert ("2026-05-01", "2026-05-04") == (
        str(report.sampled_on),
        str(report.received_on),
    )
    assert {**CALCIUM, "salinity": 34.2, "temperature": 24.5} == levels(report)


def test_columns_about_the_sample_are_understood(tmp_path: Path) -> None:
    """Method, remark and days may stand in every row."""
    text = (
        "Element,Value,Unit,Method,Comment,Sampled\nCa,405,mg/L,ICP-OES,ok,2026-05-01\n"
    )
    report = read(tmp_path, text)
    value = by_parameter(report)["calcium"]
    assert ("ICP-OES", ("ok",), "2026-05-01") == (
        value.method,
        value.notes,
        str(report.sampled_on),
    )


def test_rows_about_columns_are_understood(tmp_path: Path) -> None:
    """Units, limits, method and deviation below the head of a wide table."""
    text = (
        ",Ca,Al\nUnit,mg/L,ug/L\nMethod,titration,ICP-MS\nLOQ,1,0.5\nSD,2,0.1\n"
        "Result,405,12\n"
    )
    report = read(tmp_path, text)
    values = by_parameter(report)
    assert {"calcium": 1.0, "aluminium": 0.5} == report.limits
    assert "titration" == values["calcium"].method
    assert values["calcium"].sd == 2


def test_one_of_several_samples_is_chosen_by_its_label(tmp_path: Path) -> None:
    """By the sample that is imported, or by the mapping."""
    text = "Sample,Ca [mg/L]\nA,405\nB,430\n"
    assert {"calcium": 430.0} == levels(read(tmp_path, text, sample="B"))
    assert CALCIUM == levels(read(tmp_path, text, mapping='samples = ["a"]\n'))


def test_several_labels_may_be_one_sample(tmp_path: Path) -> None:
    """Then they are replicates."""
    text = "Sample,Ca [mg/L]\nA,400\nB,410\nC,600\n"
    report = read(tmp_path, text, mapping='samples = ["A", "B"]\n')
    assert CALCIUM == levels(report)
    assert 2 == report.values[0].replicates


def test_what_is_left_out_is_remembered_by_its_name(tmp_path: Path) -> None:
    """Columns, rows and elements, by option or mapping, however they are written."""
    text = (
        "Status;done\nElement;Value;Unit;Range\nCalcium;405;mg/L;380-450\n"
        "Gold;0,1;ug/L;\nMg;1290;mg/L;\n"
    )
    report = read(
        tmp_path,
        text,
        skip=("range", "Magnesium"),
        mapping='skip = ["Gold", "Platinum"]\n[columns]\n"Status" = "skip"\n',
    )
    assert CALCIUM == levels(report)
    assert ("Gold", "Mg", "Range", "Status") == report.skipped


def test_a_row_of_a_wide_table_can_be_left_out(tmp_path: Path) -> None:
    """A reference beside the sample is none of its values."""
    text = "Sample,Ca [mg/L],Al [ug/L]\nS-1,405,12\nNatural,420,0.5\n"
    assert BOTH == levels(read(tmp_path, text, skip=("Natural",)))


def test_quoted_cells_between_semicolons_are_told_by_their_head(tmp_path: Path) -> None:
    """Each cell in quotes, commas inside: the head is unknown, the quotes are right."""
    text = '"Stof";"Waarde";"Eenheid"\r\n"Ca";"418,5";"mg/l"\r\n"Sr";"7,90";"mg/l"\r\n'
    (refused,) = refusals(tmp_path, text)

    assert 'the likeliest reads "Stof, Waarde, Eenheid"' in refused.what
    mapping = '[columns]\n"Stof"="element"\n"Waarde"="value"\n"Eenheid"="unit"\n'
    report = read(tmp_path, text, mapping=mapping)
    assert {"calcium": 418.5, "strontium": 7.9} == levels(report)
