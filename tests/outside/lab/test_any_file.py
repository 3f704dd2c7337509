"""Whatever stands in a file: a report, or one clear refusal."""

import json
import random
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slackwater.errors import InputError
from slackwater.outside.lab import Wishes, read_report
from slackwater.water.parameters import PARAMETERS
from tests.outside.lab.reports import SAMPLES, levels, read

# One folder serves all examples of a test: each writes its own file over the last.
ONE_FOLDER = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
SAMPLE_BYTES = [path.read_bytes() for path in sorted(SAMPLES.iterdir())]

# Parameters whose figures stand in a report as they are, with their canonical unit.
PLAIN = sorted(
    item.id
    for item in PARAMETERS.values()
    if item.kind in {"major", "trace", "contaminant"}
)


def figures(identity: str) -> st.SearchStrategy[float]:
    """Plausible levels of one parameter, with six decimals."""
    item = PARAMETERS[identity]
    return st.integers(int(item.low * 10**6) + 1, int(item.high * 10**6)).map(
        lambda number: number / 10**6
    )


reports = st.lists(st.sampled_from(PLAIN), min_size=2, max_size=8, unique=True).flatmap(
    lambda names: st.fixed_dictionaries({name: figures(name) for name in names})
)


def unit(identity: str) -> str:
    """The unit a figure is written in."""
    return PARAMETERS[identity].canonical_unit


def long(figures: Mapping[str, float], separator: str, mark: str) -> str:
    """A row for each element."""
    rows = [
        separator.join((name, f"{level:.6f}".replace(".", mark), unit(name)))
        for name, level in figures.items()
    ]
    return "\n".join((separator.join(("Element", "Value", "Unit")), *rows, ""))


def wide(figures: Mapping[str, float], separator: str, mark: str) -> str:
    """A column for each element."""
    heads = [f"{PARAMETERS[name].symbol} [{unit(name)}]" for name in figures]
    cells = [f"{level:.6f}".replace(".", mark) for level in figures.values()]
    return "\n".join((separator.join(heads), separator.join(cells), ""))


def objects(figures: Mapping[str, float], separator: str, mark: str) -> str:
    """An object for each element."""
    del separator, mark
    return json.dumps(
        [
            {"element": name, "value": level, "unit": unit(name)}
            for name, level in figures.items()
        ]
    )


@ONE_FOLDER
@given(
    reports,
    st.sampled_from([long, wide, objects]),
    st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", ","), ("\t", ".")]),
    st.sampled_from(["utf-8", "utf-8-sig", "latin-1"]),
)
def test_a_report_reads_back_in_every_dialect(
    tmp_path: Path,
    figures: Mapping[str, float],
    form: object,
    dialect: tuple[str, str],
    encoding: str,
) -> None:
    """Three layouts, five pairs of separator and decimal mark, three encodings."""
    assert callable(form)
    text = str(form(figures, *dialect))
    assert figures == levels(read(tmp_path, text.encode(encoding)))


def outcome(path: Path) -> Sequence[object]:
    """The values or the findings; any other exception ends the test."""
    try:
        return read_report(path, Wishes()).values
    except InputError as error:
        return error.findings


@ONE_FOLDER
@given(st.binary(max_size=400))
def test_any_bytes_end_in_an_answer(tmp_path: Path, content: bytes) -> None:
    """Never in another exception, never without a finding."""
    path = tmp_path / "report.csv"
    path.write_bytes(content)
    assert outcome(path)


@ONE_FOLDER
@given(st.text(alphabet="ElmntVaueUi;,.\t\n\"'[]{}: 0123456789CaMg/L<-", max_size=200))
def test_any_text_that_resembles_a_report_ends_in_an_answer(
    tmp_path: Path, text: str
) -> None:
    """Of the letters that reports are made of."""
    path = tmp_path / "report.csv"
    path.write_text(text, encoding="utf-8")
    assert outcome(path)


@ONE_FOLDER
@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["element", "value", "unit", "Ca", "x", "note"]),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    )
)
def test_any_object_ends_in_an_answer(tmp_path: Path, document: object) -> None:
    """NaN and infinities as some programs write them included."""
    path = tmp_path / "report.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    assert outcome(path)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("content", SAMPLE_BYTES, ids=range(len(SAMPLE_BYTES)))
def test_a_spoiled_sample_ends_in_an_answer(
    tmp_path: Path, content: bytes, seed: int
) -> None:
    """Ten files each with bytes changed, left out and doubled."""
    dice = random.Random(seed)  # noqa: S311 -- invented damage, no secret
    path = tmp_path / "report.csv"
    for _ in range(10):
        spoiled = bytearray(content)
        for _ in range(dice.randint(1, 6)):
            place = dice.randrange(len(spoiled))
            piece = bytes([dice.randrange(256)]) * dice.randint(0, 3)
            spoiled[place : place + dice.randint(0, 3)] = piece
        path.write_bytes(spoiled)
        assert outcome(path)
