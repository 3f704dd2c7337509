"""The published schema: every document keeps it, and it lets nothing else pass."""

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from slackwater.cli.report.schema import schema
from tests.cli.report.reports import SAMPLES, document, rehearse
from tests.cli.run_program import CONFIG, SMALLEST, changed, run
from tests.cli.stage import stage_of

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)


@cache
def judge() -> jsonschema.Draft202012Validator:
    """The schema, itself a sound one."""
    jsonschema.Draft202012Validator.check_schema(schema())
    return jsonschema.Draft202012Validator(schema())


@pytest.mark.parametrize("name", SAMPLES)
def test_every_document_keeps_the_schema(name: str) -> None:
    """With faults, for every sample."""
    judge().validate(document(name))


def test_documents_of_any_kind_keep_it(tmp_path: Path) -> None:
    """Without faults, with a ledger and changes, refused, and with nothing to dose."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve().code
    stronger = changed(
        tmp_path / "a",
        SMALLEST,
        slackwater=('strength = "139 g/L"', 'strength = "160 g/L"'),
    )
    crowded = changed(tmp_path / "b", SMALLEST, plan=('"20:00-08:00"', '"20:00-20:01"'))
    empty = changed(tmp_path / "c", SMALLEST, plan=("doses = 12", "doses = 200"))
    for config in (SMALLEST, stronger, crowded, empty):
        found = rehearse(
            config, "--days", 3, "--visit", "2099-05-20", "--json", state=stage.state
        ).document
        judge().validate(found)


def test_the_verb_prints_it() -> None:
    """As JSON, and it is the schema of the package."""
    assert schema() == json.loads(run("rehearse", "--schema").out)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("highest_daily_ul",), -1),
        (("doses", 0, "verdict"), "success"),
        (("doses", 0, "volume_ul"), 1.5),
        (("effects", 0, "added"), "much"),
        (("from",), "3 May"),
        (("tanks", 0, "forecast", 0, "same"), ["8"]),
        (("command",), "check"),
        (("another",), 1),
    ],
)
def test_what_is_wrong_does_not_pass(path: tuple[Any, ...], value: object) -> None:
    """One leaf changed, or one key too many."""
    found = copy.deepcopy(document("smallest"))
    place: Any = found
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    assert not judge().is_valid(found)


def test_every_key_is_required_but_those_of_untried_faults() -> None:
    """Leaving out any of the first row of keys is seen."""
    found = {**document("smallest"), "doses": [], "trace": [], "days": []}
    assert judge().is_valid(found)
    for key in found:
        shorter = {name: one for name, one in found.items() if name != key}
        assert not judge().is_valid(shorter), key


def test_the_table_of_bottles_is_that_of_the_record() -> None:
    """Sums of the document agree with each other: doses, days, bottles."""
    found = rehearse(CONFIG / "chemistry", "--days", 10, "--json").document
    given = sum(dose["volume_ul"] for dose in found["doses"])  # type: ignore[attr-defined]  # rows
    assert given == sum(day["volume_ul"] for day in found["days"])  # type: ignore[attr-defined]  # rows
    left = {dose["pump"]: dose["left_ul"] for dose in found["doses"]}  # type: ignore[attr-defined]  # rows
    drawn = {
        bottle["reservoir"]: bottle["content_ul"]
        - sum(
            dose["volume_ul"]
            for dose in found["doses"]  # type: ignore[attr-defined]  # rows
            if dose["pump"] == bottle["reservoir"]
        )
        for bottle in found["bottles"]  # type: ignore[attr-defined]  # rows
    }
    assert drawn == left
