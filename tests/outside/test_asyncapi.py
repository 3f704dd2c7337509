"""The AsyncAPI document: judged by the official parser, true to models and topics."""

import json
import re
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from slackwater.outside.wire import Kind, Root, Topic, asyncapi, schemas

JUDGE = Path(__file__).with_name("asyncapi.mjs")
REF = re.compile(r'"\$ref": "#/([^"]+)"')


def _complaints(
    modules: str, tmp_path: Path, document: object
) -> list[Mapping[str, Any]]:
    path = tmp_path / "asyncapi.json"
    path.write_text(json.dumps(document), "utf-8")
    words: list[str | Path] = ["node", JUDGE, modules, path]
    done = subprocess.run(words, capture_output=True, check=True, text=True)
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.timeout(600)  # another process, on a machine that may be busy
def test_the_official_parser_finds_no_fault(
    asyncapi_parser: str, tmp_path: Path
) -> None:
    """No error and no warning; it reads as many channels as there are topics.

    Source: the parser of the AsyncAPI initiative. Severity 0 is an error, 1 a warning.
    """
    told = _complaints(asyncapi_parser, tmp_path, asyncapi())
    assert [] == [one for one in told if one["severity"] in {0, 1}]
    assert str(len(Kind)) == told[-1]["where"]


@pytest.mark.timeout(600)  # another process, on a machine that may be busy
def test_the_parser_would_find_a_fault(asyncapi_parser: str, tmp_path: Path) -> None:
    """A reference to nothing is an error, so a silent parser is no pass."""
    document: dict[str, Any] = asyncapi()
    document["operations"]["beat"]["channel"] = {"$ref": "#/channels/nothing"}
    told = _complaints(asyncapi_parser, tmp_path, document)
    assert [one for one in told if one["severity"] == 0]


def test_every_reference_leads_somewhere() -> None:
    """Without any parser: each name that is pointed to is there."""
    document = asyncapi()
    for path in REF.findall(json.dumps(document)):
        found: Any = document
        for step in path.split("/"):
            found = found[step]
        assert found


@pytest.mark.parametrize("kind", list(Kind))
def test_every_topic_has_its_channel(kind: Kind) -> None:
    """The address, filled in, is the topic on the wire."""
    channels: Any = asyncapi()["channels"]
    first, *others = kind.value.split("-")
    where = channels[first + "".join(map(str.title, others))]["address"]
    places = {"prefix": "slackwater/1", "site": "home", "owner": "x", "item": "y"}
    topic = Topic(
        root=Root(site="home"),
        kind=kind,
        owner="x" if "{owner}" in where else "",
        item="y" if "{item}" in where else "",
    )
    assert str(topic) == where.format(**places)


def test_its_schemas_say_what_the_wire_says() -> None:
    """A beat with one wrong figure is refused by the document's own schema too."""
    document: Any = asyncapi()
    components = {"components": {"schemas": document["components"]["schemas"]}}
    schema = {"$ref": "#/components/schemas/beat", **components}
    beat = {
        "v": 1,
        "boot": "9e1b000000000001",
        "up": 1,
        "seq": 1,
        "hold": False,
        "fence": 0,
        "hw": "bench",
        "cfg": "0badcafe",
        "chan": {
            "a": {"n": 0, "state": "idle", "odo_ul": 0, "odo_ms": 0, "budget_ul": 0}
        },
    }
    judge = Draft202012Validator(schema)
    assert judge.is_valid(beat)
    assert not judge.is_valid({**beat, "up": -1})
    assert Draft202012Validator(schemas()["beat"]).is_valid(beat)
