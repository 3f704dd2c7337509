"""Examples in advice: each is accepted where it is told."""

import importlib
import pkgutil
import tomllib
from collections.abc import Iterator

import pytest
from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from slackwater.cli import answers
from slackwater.errors import InputError
from slackwater.outside import settings
from slackwater.outside.settings.examples import example_of
from slackwater.outside.settings.machine_model import CapTable, TankTable
from slackwater.outside.settings.quantities import (
    Flow,
    Milliseconds,
    Quantity,
    Share,
    Volume,
)
from slackwater.outside.settings.tables import Findings, TableModel, checked
from slackwater.water.levels import parse_level, parse_rate, parse_strength
from slackwater.water.parameters import PARAMETERS
from tests.cli.test_setup import ANSWERS

for _module in pkgutil.iter_modules(settings.__path__):
    importlib.import_module(f"{settings.__name__}.{_module.name}")
# What only stands for all tables together, and is read from no file.
_WHOLES = {"Answers"}


def tables(kind: type[TableModel] = TableModel) -> Iterator[type[TableModel]]:
    """Every model of a table."""
    for one in kind.__subclasses__():
        yield one
        yield from tables(one)


FIELDS = [
    pytest.param(model, key, id=f"{model.__name__}.{key}")
    for model in sorted(set(tables()), key=lambda one: one.__name__)
    if model.__name__ not in _WHOLES
    for key in model.model_fields
]


@pytest.mark.parametrize(("model", "key"), FIELDS)
def test_the_example_of_a_key_is_of_its_kind(model: type[TableModel], key: str) -> None:
    """A whole number where one is wanted, text in quotes where that is."""
    line = example_of(model.model_fields[key], key)
    assert "…" not in line
    wrong = set[object]()
    try:
        model.model_validate(tomllib.loads(line))
    except ValidationError as error:
        # Of the other keys that must be there.
        wrong = {detail["loc"][0] for detail in error.errors()}
    assert key not in wrong


@pytest.mark.parametrize(
    "kind",
    [
        Milliseconds("1 s", "1 h"),
        Flow("0.1 mL/min", "2 L/min"),
        Volume("1 uL", "10 L"),
        Share("0 %", "100 %"),
    ],
)
def test_a_figure_without_a_unit_is_told_one_of_its_kind(kind: Quantity) -> None:
    """A duration like a duration, inside its bounds, and no volume."""
    with pytest.raises(PydanticCustomError) as refused:
        kind.read(30)
    kind.read(str((refused.value.context or {})["do"]).split('"')[1])


DOSED = [name for name, item in PARAMETERS.items() if item.is_dosed]


@pytest.mark.parametrize("name", DOSED)
def test_the_example_of_a_parameter_has_its_unit(name: str) -> None:
    """Where the key stands below a parameter, or is one."""
    gross = example_of(CapTable.model_fields["gross"], "gross", ("caps", name, "gross"))
    parse_rate(tomllib.loads(gross)["gross"], name, where="")
    caps = example_of(TankTable.model_fields["caps"], name, ("caps", name))
    parse_rate(tomllib.loads(caps)[name]["gross"], name, where="")
    label = answers.PumpAnswer.model_fields["label"]
    strength = example_of(label, name, ("label", name))
    parse_strength(tomllib.loads(strength)[name], name, where="")


@pytest.mark.parametrize("name", DOSED)
def test_what_a_rate_is_expected_like_is_one(name: str) -> None:
    """The example of a refused rate is itself accepted there."""
    with pytest.raises(InputError) as refused:
        parse_rate("much", name, where="")
    parse_rate(refused.value.findings[0].expected.split('"')[1], name, where="")


MEASURED = [name for name, item in PARAMETERS.items() if item.is_measured]


@pytest.mark.parametrize("name", MEASURED)
def test_the_example_of_a_target_can_be_believed(name: str) -> None:
    """It lies in the window of its parameter, in its unit."""
    field = TankTable.model_fields["targets"]
    line = example_of(field, name, ("targets", name))
    parse_level(tomllib.loads(line)[name], name, where="", confirmed=None)


@pytest.mark.parametrize(
    ("right", "wrong", "told"),
    [
        (
            'calcium = { gross = "15 mg/L/day" }',
            "calcium = { }",
            'gross = "1.8 mg/L/day"',
        ),
        (
            'calcium = { gross = "15 mg/L/day" }',
            'calcium = "15"',
            'calcium = { gross = "1.8 mg/L/day" }',
        ),
        (
            'targets = { alkalinity = "8.0 dKH" }',
            "targets = { calcium = 420 }",
            'calcium = "475 mg/L"',
        ),
        ('per_day = "36 mL"', 'doses = "six"\nper_day = "36 mL"', "doses = 12"),
        ('smallest_dose = "0.5 mL"', "", 'smallest_dose = "0.5 mL"'),
    ],
)
def test_a_slip_in_answers_is_told_with_a_line_that_fits(
    right: str, wrong: str, told: str
) -> None:
    """One finding, and its last words are a line to copy."""
    text = ANSWERS.replace(right, wrong, 1)
    with pytest.raises(InputError) as refused:
        answers.answers_of(tomllib.loads(text), "answers.toml")
    (finding,) = refused.value.findings
    assert told == finding.do.partition("  ")[2]


def test_a_key_below_no_parameter_keeps_its_example() -> None:
    """Nothing is put in place of what fits."""
    findings = Findings("x")
    checked(CapTable, {}, "[tank.reef.caps.alkalinity]", findings)
    assert 'Add a line like  gross = "2.0 dKH/day"' == findings.all[0].do
