"""Timed relays in the machine file: read, halved, and every mistake named."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_machine
from slackwater.outside.settings.relays import RelayTable, check_relay_topics
from slackwater.outside.settings.tables import Findings
from tests.cli.run_program import CONFIG, changed

RELAYS = CONFIG / "relays"
FILE = "slackwater"


def _with(folder: Path, old: str, new: str) -> Path:
    return changed(folder, RELAYS, **{FILE: (old, new)})


def test_the_sample_holds_one_relay_of_each_kind() -> None:
    """One takes the length of a pulse, one has its own."""
    nodes = read_machine(RELAYS).nodes
    plug, timer = nodes["plug"].relay, nodes["timer"].relay
    assert plug is not None
    assert timer is not None
    assert (0, 6_000) == (plug.always_ms, timer.always_ms)
    assert b'{"on":true,"ms":1200}' == plug.pulse(1_200)
    assert b"on" == timer.pulse(6_000)


def test_caps_behind_a_relay_count_for_two_executions() -> None:
    """6 mL and 90 mL in the file are 3 mL and 45 mL for the gate."""
    pump = read_machine(RELAYS).pumps["carbonate"]
    assert (3_000, 45_000) == (pump.per_dose_ul, pump.per_day_ul)


def test_a_pump_rests_for_the_longest_pulse_and_half_a_minute() -> None:
    """10 s + 30 s are below the gap of every pump; a longer pulse is above it."""
    machine = read_machine(RELAYS)
    pump, node = machine.pumps["carbonate"], machine.nodes["plug"]
    assert 60.0 == machine.rest_s(pump)
    slow = replace(node, cut_limit_ms=45_000)
    assert 75.0 == replace(machine, nodes={"plug": slow}).rest_s(pump)


def test_any_word_of_a_relay_changes_its_digest() -> None:
    """So that a check, and an approval, are of the relay as it is."""
    relay = read_machine(RELAYS).nodes["plug"].relay
    assert relay is not None
    others = {
        relay.digest,
        replace(relay, on_topic="x").digest,
        replace(relay, on_payload="x").digest,
        replace(relay, off_topic="x").digest,
        replace(relay, off_payload="x").digest,
        replace(relay, state_topic="x").digest,
        replace(relay, pointer="x").digest,
        replace(relay, on=("x",)).digest,
        replace(relay, off=("x",)).digest,
        replace(relay, ask_topic="x").digest,
        replace(relay, ask_payload="x").digest,
        replace(relay, always_ms=1).digest,
    }
    assert 12 == len(others)


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('{"on":true,"ms":{ms}}', '{"on":true}', "found"),
        ("one_length = true", "one_length = false", "found"),
        ('on = ["true"]', 'on = ["true", "false"]', "means on and off"),
        ("[relay.plug]", "[relay.plugg]", "there is no node"),
        (
            'node = "timer"\nchannel = "a"',
            'node = "plug"\nchannel = "b"',
            "2 pumps hang on it",
        ),
        (
            '"workshop/relay-3/is"',
            '"slackwater/1/home/node/plug/beat"',
            "one of the daemon's own topics",
        ),
        ('"workshop/relay-3/is"', '"workshop/relay-3/do"', "told what to do"),
        ('"workshop/relay-3/is"', '"workshop/relay-4/is"', "two relays speak"),
        ("[relay.plug]", 'key_file = "k"\n[relay.plug]', "a relay signs nothing"),
        ('on_topic = "workshop/relay-3/do"', 'on_topic = "a/#"', "a/#"),
    ],
)
def test_a_mistake_is_named(tmp_path: Path, old: str, new: str, what: str) -> None:
    """Templates, words, names and topics that cannot be."""
    with pytest.raises(InputError) as error:
        read_machine(_with(tmp_path, old, new))
    assert [one for one in error.value.findings if what in one.what]


def test_two_relays_switched_on_by_the_same_words_are_a_slip() -> None:
    """A table copied for a second pump would run the first one again."""
    document = tomllib.loads((RELAYS / "slackwater.toml").read_text("utf-8"))
    relay = RelayTable.model_validate(document["relay"]["plug"])
    copied = relay.model_copy(update={"state_topic": "workshop/other/is"})
    words = {"on_payload": '{"channel":2,"ms":{ms}}'}
    other = copied.model_copy(update=words)
    for second, wrong in ((copied, True), (other, False)):
        findings = Findings(FILE)
        check_relay_topics({"plug": relay, "copy": second}, "root", findings)
        assert wrong == bool(findings.count)
