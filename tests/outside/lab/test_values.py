"""Limits, masses, replicates and deviations: what a value is made of."""

from pathlib import Path

import gsw
import pytest

from tests.outside.lab.reports import by_parameter, levels, read, refusals

HEAD = "Element;Value;Unit"
LIMITS = f"{HEAD};LOD;LOQ\n"


@pytest.mark.parametrize(
    ("row", "level"),
    [
        ("Pb;<0.3;ug/L;0.05;0.1", 0.3),
        ("Pb;< 0.3 ug/L;;;", 0.3),
        ("Pb;n.d.;ug/L;0.05;0.1", 0.05),
        ("Pb;n.d.;ug/L;;0.1", 0.1),
        ("Pb;n.d.;ug/L;<0.05;0.1", 0.05),
        ("Pb;n.d.;;0.05 ug/L;", 0.05),
        ("Pb;< LOD;ug/L;0.05;0.1", 0.05),
        ("Pb;< LOQ;ug/L;0.05;0.1", 0.1),
        ("Pb;below detection;mg/L;0.00005;-", 0.05),
    ],
)
def test_what_is_below_a_limit_is_kept_as_the_limit(
    tmp_path: Path, row: str, level: float
) -> None:
    """Stated with it or in a column; nothing is guessed upwards or downwards."""
    value = read(tmp_path, f"{LIMITS}{row}\n").values[0]
    assert pytest.approx(level) == float(value.level)
    assert value.censored


def test_a_detection_limit_does_not_stand_for_quantification(tmp_path: Path) -> None:
    """Below LOQ may be far above LOD."""
    found = refusals(tmp_path, f"{HEAD};LOD\nPb;< LOQ;ug/L;0.05\n")
    assert "below the quantification limit" in found[0].what


def test_a_plain_limit_serves_for_both(tmp_path: Path) -> None:
    """And is kept as the laboratory's quantification limit."""
    text = f"{HEAD};Limit [mg/L]\nPb;n.d.;ug/L;0.0002\nCu;<LOQ;ug/L;0.0003\n"
    report = read(tmp_path, text)
    assert {"lead": 0.2, "copper": 0.3} == pytest.approx(levels(report))
    assert {"lead": 0.2, "copper": 0.3} == pytest.approx(dict(report.limits))


def test_a_value_below_its_limit_says_so(tmp_path: Path) -> None:
    """It is a value all the same."""
    value = read(tmp_path, f"{LIMITS}Cu;0.2;ug/L;;0.5\n").values[0]
    assert (False, ("below the quantification limit",)) == (value.censored, value.notes)


@pytest.mark.parametrize(
    ("above", "salinity", "source"),
    [("", 35.0, "assumed"), ("Salinity;32;PSU\n", 32.0, "as the report says")],
)
@pytest.mark.parametrize("figure", ["400;ppm", "400000;ppb"])
def test_by_mass_needs_a_density(
    tmp_path: Path, above: str, salinity: float, source: str, figure: str
) -> None:
    """That of the sample at 25 degC, by gsw (TEOS-10); an assumption is said."""
    report = read(tmp_path, f"{above}{HEAD}\nCa;{figure}\n")
    reference = gsw.SR_from_SP(salinity)
    density = gsw.rho_t_exact(reference, 25.0, 0.0) / 1000
    assert pytest.approx(400 * density, rel=5e-5) == levels(report)["calcium"]
    (told,) = report.assumed
    assert f"salinity {salinity:.2f} ({source}" in told


def test_by_the_litre_needs_no_assumption(tmp_path: Path) -> None:
    """Nothing is said that does not matter."""
    assert () == read(tmp_path, f"{HEAD}\nCa;405;mg/L\n").assumed


@pytest.mark.parametrize(
    "text",
    [
        "Element;Value 1;Value 2;Value 3;Unit\nAl;10;12;17;ug/L\n",
        f"{HEAD};Replicate\nAl;10;ug/L;a\nAl;12;ug/L;b\nAl;17;ug/L;c\n",
        f"{HEAD}\nAl;10;ug/L\nAl;12;ug/L\nAl;17;ug/L\n",
        "Al [ug/L]\n10\n12\n17\n",
        ";Al [ug/L]\nReplicate 1;10\nReplicate 2;12\nReplicate 3;17\n",
        '{"Al": {"value": [10, 12, 17], "unit": "ug/L"}}',
    ],
)
def test_replicates_become_their_mean(tmp_path: Path, text: str) -> None:
    """Columns, rows or lists; the spread is kept and a large one is said."""
    (value,) = read(tmp_path, text).values
    assert value.level == 13
    assert value.spread == 7
    assert (3, False) == (value.replicates, value.censored)
    assert ("mean of 3", "replicates differ by 54 %") == value.notes


def test_replicates_that_agree_are_not_pointed_out(tmp_path: Path) -> None:
    """Within a tenth of the mean."""
    (value,) = read(tmp_path, "Element;Value 1;Value 2;Unit\nAl;12;13;ug/L\n").values
    assert ("mean of 2",) == value.notes


def test_replicates_below_a_limit_stay_below(tmp_path: Path) -> None:
    """The highest limit is what is surely not exceeded."""
    (value,) = read(
        tmp_path, "Element;Value 1;Value 2;Unit\nPb;<0.1;<0.3;ug/L\n"
    ).values
    assert (0.3, True) == (float(value.level), value.censored)


def test_a_replicate_below_a_limit_counts_as_the_limit(tmp_path: Path) -> None:
    """Beside one that was seen; it is said."""
    (value,) = read(tmp_path, "Element;Value 1;Value 2;Unit\nPb;<0.1;0.3;ug/L\n").values
    assert pytest.approx(0.2) == float(value.level)
    assert not value.censored
    assert "1 of them below a limit, counted as the limit" in value.notes


def test_an_empty_replicate_is_none(tmp_path: Path) -> None:
    """The others are averaged."""
    (value,) = read(tmp_path, "Element;Value 1;Value 2;Unit\nAl;12;;ug/L\n").values
    assert (1, 12.0) == (value.replicates, float(value.level))


@pytest.mark.parametrize(
    "text",
    [
        f"{HEAD};Replicate\nAl;10;ug/L;a\nAl;12;ug/L;a\n",
        f"{HEAD}\nAl;10;ug/L\nAl;12;ug/L\nCu;1;ug/L\n",
        "Al [ug/L];Aluminum [ug/L]\n10;12\n",
        f"{HEAD}\nS;890;mg/L\nSO4;2700;mg/L\n",
        f"Salinity;35;PSU\n{HEAD}\nSalinity;35;PSU\nCa;405;mg/L\n",
    ],
)
def test_what_is_no_replicate_is_a_duplicate(tmp_path: Path, text: str) -> None:
    """One label twice, one element more often than others, one under two names."""
    assert any("is there twice" in one.what for one in refusals(tmp_path, text))


@pytest.mark.parametrize(
    ("head", "deviation"),
    [("SD", 0.5), ("Uncertainty (k=2)", 0.25), ("SD [mg/L]", 500)],
)
def test_a_stated_deviation_is_kept(
    tmp_path: Path, head: str, deviation: float
) -> None:
    """Half of an expanded one (coverage factor 2, JCGM 100:2008, 6.2)."""
    (value,) = read(tmp_path, f"{HEAD};{head}\nAl;12;ug/L;0.5\n").values
    assert value.sd is not None
    assert deviation == float(value.sd)


def test_a_deviation_of_a_temperature_has_no_zero(tmp_path: Path) -> None:
    """One degree Fahrenheit is five ninths of one Celsius."""
    text = f"{HEAD};SD\nTemperature;77;\u00b0F;1.8\n"
    (value,) = read(tmp_path, text).values
    assert 25.0 == float(value.level)
    assert value.sd == 1


def test_total_phosphorus_stands_beside_phosphate(tmp_path: Path) -> None:
    """Two quantities: neither replicates nor duplicates."""
    text = f"{HEAD};Method\nP;0.02;mg/L;ICP-OES\nPO4;0.03;mg/L;photometer\n"
    values = by_parameter(read(tmp_path, text))
    assert "total phosphorus; ICP-OES" == values["phosphate total phosphorus"].method
    assert "photometer" == values["phosphate"].method


def test_what_was_typed_is_kept(tmp_path: Path) -> None:
    """With the unit, wherever it stood."""
    text = "Element;Value [mg/L]\nCa;405.0\nMg;1290 mg/L\nK;< 392\n"
    typed = [one.typed for one in read(tmp_path, text).values]
    assert ["405.0 mg/L", "1290 mg/L", "< 392 mg/L"] == typed


def test_the_digest_knows_figures_and_nothing_else(tmp_path: Path) -> None:
    """Order, unit, name, remark and form do not matter; one figure does."""
    same = [
        f"{HEAD}\nCa;405;mg/L\nAl;12;ug/L\n",
        f"{HEAD};Note\nAluminum;0.012;mg/L;x\nCalcium;405.00;mg/L;y\n",
        "Al [ug/L];Ca [g/L]\n12;0.405\n",
    ]
    other = [
        f"{HEAD}\nCa;405;mg/L\nAl;12.1;ug/L\n",
        f"{HEAD}\nCa;405;mg/L\nAl;<12;ug/L\n",
        f"{HEAD}\nCa;405;mg/L\n",
    ]
    assert 1 == len({read(tmp_path, text).digest for text in same})
    assert 4 == len({read(tmp_path, text).digest for text in (*same, *other)})
