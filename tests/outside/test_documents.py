"""Documents and events the daemon publishes, and the schemas of everything."""

import json
from pathlib import Path

import jsonschema
import pytest

from slackwater.errors import InputError
from slackwater.facts.messages import Tell
from slackwater.facts.tank import Machine, Node
from slackwater.outside.wire import (
    GONE,
    BrokerSettings,
    Kind,
    MachineView,
    Topic,
    event_bytes,
    schemas,
    state_bytes,
    view_of,
)
from tests.outside.samples import (
    AT,
    BEAT,
    ENDED,
    HOLD,
    IDENTIFY,
    INPUT,
    KEY,
    READING,
    REFUSED,
    REQUEST,
    ROOT,
    RUN,
    STOP,
    STOP_ALL,
    TAKEN,
    VIEW,
    changed,
)

TANK = Topic(root=ROOT, kind=Kind.TANK_STATE, owner="display")
DAEMON = Topic(root=ROOT, kind=Kind.DAEMON_STATE)
EVENT = Topic(root=ROOT, kind=Kind.EVENT, owner="display")

SHOWN: dict[str, object] = {
    "at": "2026-05-03T14:00:00Z",
    "stage": "shadow",
    "plan_digest": "ab" * 32,
    "holds": [
        {
            "id": "h-1",
            "pump": "carbonate",
            "latched": True,
            "reasons": [
                {
                    "code": "node-absent",
                    "text": "No fresh beat from the pump node.",
                    "figures": {"age_s": 31.5, "beats": 3, "fresh": False},
                }
            ],
        }
    ],
    "next_dose": {
        "dose": "display/carbonate@2026-05-03#07",
        "pump": "carbonate",
        "due_at": "2026-05-03T14:30:00+00:00",
        "ul": 2000,
    },
    "totals": {
        "carbonate": {"day_ul": 12000, "last_24_h_ul": 24000, "per_day_ul": 60000}
    },
    "levels_ul": {"carbonate-bottle": 4_500_000},
    "hours_to_floor": {"alkalinity": 36.5},
}

ALARM_AT = Topic(root=ROOT, kind=Kind.ALARM, owner="node-absent", item="left")
ALARM: dict[str, object] = {
    "at": "2026-05-03T14:00:00Z",
    "alarm": "node-absent.left",
    "cause": "node-absent",
    "about": "left",
    "state": "suppressed",
    "seen": False,
    "priority": "soon",
    "text": "No fresh beat from the pump node.",
    "action": "Look whether the pump node has power and network.",
    "first_aid": "",
    "tanks": ["display"],
    "since": "2026-05-03T13:00:00Z",
    "told": "2026-05-03T13:30:00Z",
    "ended": None,
    "hours_left": 23.5,
    "reminder": 10,
    "times": 2,
    "until": "2026-05-03T21:00:00Z",
    "by": "keeper",
    "note": "new power supply is on its way",
    "figures": {"beat_age_s": 3600},
}

EXAMPLES = {
    "command": [RUN, STOP, STOP_ALL, IDENTIFY],
    "beat": [BEAT],
    "result": [TAKEN, ENDED, REFUSED],
    "hold": [HOLD],
    "reading": [READING],
    "input": [INPUT],
    "request": [REQUEST],
    "tank-state": [state_bytes(TANK, SHOWN)],
    "daemon-state": [GONE],
    "alarm": [state_bytes(ALARM_AT, ALARM)],
    "event": [event_bytes(EVENT, Tell(tank="display", name="dose_ended"), AT)],
    "echo": [b'{"v":1,"nonce":"' + b"0" * 32 + b'"}'],
}


def test_every_kind_of_topic_has_a_schema() -> None:
    """Nothing travels that is not described."""
    assert [kind.value for kind in Kind] == list(schemas())


@pytest.mark.parametrize("kind", sorted(EXAMPLES))
def test_schema_is_a_schema_and_fits_the_examples(kind: str) -> None:
    """Each schema passes the 2020-12 meta-schema and accepts the contract's bytes."""
    schema = schemas()[kind]
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    complaints = [
        list(validator.iter_errors(json.loads(payload))) for payload in EXAMPLES[kind]
    ]
    assert [[]] * len(EXAMPLES[kind]) == complaints


@pytest.mark.parametrize("kind", sorted(EXAMPLES))
def test_schema_refuses_an_unknown_field(kind: str) -> None:
    """Strictness shows in the schema, not only in our code."""
    validator = jsonschema.Draft202012Validator(schemas()[kind])
    content = json.loads(changed(EXAMPLES[kind][0], surprise=1))
    assert not validator.is_valid(content)


def test_tank_document_keeps_what_was_shown() -> None:
    """The published document says what the daemon said, times in UTC."""
    published = json.loads(state_bytes(TANK, SHOWN))
    assert "2026-05-03T14:30:00Z" == published["next_dose"]["due_at"]
    assert SHOWN["holds"] == published["holds"]
    assert SHOWN["totals"] == published["totals"]


@pytest.mark.parametrize(
    ("topic", "document"),
    [
        (TANK, {**SHOWN, "surprise": 1}),
        (TANK, {**SHOWN, "hours_to_floor": {"alkalinity": float("nan")}}),
        (TANK, {**SHOWN, "next_dose": {"dose": "x"}}),
        (TANK, {**SHOWN, "at": AT}),
        (TANK, {}),
        (DAEMON, {"state": "asleep"}),
        (ALARM_AT, {**ALARM, "state": "silent"}),
        (ALARM_AT, {**ALARM, "alarm": "node-absent/left"}),
        (EVENT, SHOWN),
    ],
)
def test_document_that_does_not_fit_is_refused(
    topic: Topic, document: dict[str, object]
) -> None:
    """What nobody could read is not published, and the error names the topic."""
    with pytest.raises(InputError) as caught:
        state_bytes(topic, document)
    assert str(topic) == caught.value.findings[0].where


def test_event_carries_figures_and_the_request_it_answers() -> None:
    """An event tells name, time, figures and whose request it answers."""
    tell = Tell(
        tank="display",
        name="request_granted",
        figures={"minutes": 30, "share": 0.5, "until": None, "ok": True},
        request="r-1",
    )
    expected = {
        "v": 1,
        "at": "2026-05-03T14:00:00Z",
        "event": "request_granted",
        "figures": {"minutes": 30, "share": 0.5, "until": None, "ok": True},
        "request": "r-1",
    }
    assert expected == json.loads(event_bytes(EVENT, tell, AT))


def test_event_with_an_impossible_figure_is_refused() -> None:
    """NaN has no place in JSON."""
    tell = Tell(tank="display", name="x", figures={"ratio": float("nan")})
    with pytest.raises(InputError):
        event_bytes(EVENT, tell, AT)


@pytest.mark.parametrize("keys", [{"left": b"short"}, {"nobody": KEY}])
def test_unusable_key_is_refused(keys: dict[str, bytes]) -> None:
    """A key has 32 bytes and a node."""
    with pytest.raises(InputError):
        MachineView(nodes=VIEW.nodes, tanks=VIEW.tanks, probes={}, keys=keys)


def machine(*, signed: bool) -> Machine:
    """A machine with one node and nothing else."""
    node = Node(id="left", day_limit_ul=1, cut_limit_ms=1, signed=signed)
    return Machine(
        site="reef",
        tanks={},
        solutions={},
        reservoirs={},
        nodes={"left": node},
        pumps={},
    )


def test_signing_node_needs_its_key() -> None:
    """A node that is to sign is not quietly believed unsigned."""
    with pytest.raises(InputError):
        view_of(machine(signed=True), {})


def test_view_shows_no_key() -> None:
    """A key never stands in a representation that may be logged (H63)."""
    view = view_of(machine(signed=True), {"left": KEY})
    assert {"left": KEY} == view.keys
    assert repr(KEY) not in repr(view)


def test_settings_make_the_root() -> None:
    """Prefix and site of the settings are what every topic begins with."""
    settings = BrokerSettings(
        host="broker", port=8883, site="reef", observe_password=Path("/nowhere")
    )
    assert ROOT == settings.root
