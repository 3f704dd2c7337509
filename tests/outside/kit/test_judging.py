"""The judge on the reference node: it passes, and a copy without a rule fails."""

import json
from collections import Counter
from typing import Any

import pytest

from demo.node.node import Node, Run, read_command
from slackwater.outside.kit import ALL_RULES, CASES, Found, Judge, recorded
from slackwater.outside.kit.recording import DAY_UL
from tests.outside.kit.memory import KEY, LIMITS, Memory, bench, changed

RECORDED: Any = recorded()
# How each rule is taken out of a copy of the node, line by line.
_IF = "if before is not None and before.id == command.id:"
LAST = 'rules += (("boot", command.text["boot"] != self.boot),)\n        '
REMOVED: dict[str, tuple[str, list[tuple[str, str]]]] = {
    "retained": (
        "retained",
        [("if retained or command is None", "if command is None")],
    ),
    "size": ("form", [("len(payload) > COMMAND_BYTES_AT_MOST or ", "")]),
    "repeated names": ("form", [(" or name in fields:", ":")]),
    "noughts before": ("form", [(' or (text[0] == "0" and text != "0")', "")]),
    "version": ("form", [('_MOST = {"v": 1, ', "_MOST = {")]),
    "fields of an act": ("form", [("x not in allowed or ", "")]),
    "code": (
        "auth",
        [("if not any(is_authentic(command, key) for key in self.keys):", "if False:")],
    ),
    "repeat": ("repeat", [(_IF, "if False:")]),
    "boot": ("boot", [('("boot", command.text["boot"] != self.boot),', "")]),
    "fence": ("fence", [('("fence", whole["fence"] < self.fence),', "")]),
    "fence kept": ("fence", [('self.fence = whole["fence"]', "pass")]),
    "number": ("number", [('("number", whole["n"] != head.n),', "")]),
    "number raised": ("echo", [("head.n += 1", "head.n += 0")]),
    "deadline": ("late", [('("late", self._up_ms > whole["until_up"]),', "")]),
    "busy": ("busy", [('("busy", state in ("running", "fault")),', "")]),
    "held": ("held", [('("held", state in ("starting", "held")),', "")]),
    "limit": ("limit", [('("limit", head.is_beyond_limits(whole)),', "")]),
    "rate": (
        "limit",
        [('not nominal <= whole["ul"] * 120_000 <= nominal * 4', "False")],
    ),
    "budget": (
        "budget",
        [('("budget", whole["ul"] > head.budget.room_ul(self._up_ms)),', "")],
    ),
    "budget taken": ("echo", [('head.budget.take(whole["ul"], self._up_ms)', "pass")]),
    "stop": ("stop", [('self._end(named, "stopped")', "[]")]),
    "hold": (
        "stop",
        [('self._end(list(self.heads), "stopped") if self._holds else []', "[]")],
    ),
    "end": ("ended", [('return "cut" if cut else "complete"', 'return "cut"')]),
    "last run": ("echo", [("if self.last is not None:", "if False:")]),
    "odometer": ("echo", [("self.odo_ul += moved_ul", "pass")]),
    "count of beats": ("beat", [("self._seq += 1", "pass")]),
    "room at power-up": (
        "power",
        [("[share_ul] * PAST_HOURS + [0]", "[0] * (PAST_HOURS + 1)")],
    ),
    "self-test": (
        "power",
        [("self._shows = True, self_test_ms", "self._shows = False, self_test_ms")],
    ),
    "order of rules": (
        "boot",
        [
            ('("boot", command.text["boot"] != self.boot),', ""),
            (
                "broken = [reason for",
                LAST + "broken = [reason for",
            ),
        ],
    ),
}


def _judged(memory: Memory) -> list[Found]:
    judge = Judge(bench=bench(memory), power_cycle=memory.power_cycle)
    return judge.judge()


def _broken(memory: Memory) -> set[str]:
    found = _judged(memory)
    return {one.rule for one in found if one.kept is False}


@pytest.mark.parametrize("key", [b"", KEY], ids=["unsigned", "signed"])
def test_the_reference_node_keeps_every_rule(key: bytes) -> None:
    """Nothing broken, nothing left untried, every rule asked."""
    found = _judged(Memory(key=key))
    assert [] == [one for one in found if one.kept is not True]
    assert set(ALL_RULES) == {one.rule for one in found}


@pytest.mark.parametrize("name", REMOVED)
def test_a_copy_without_a_rule_is_found(name: str) -> None:
    """The judge names the rule that was taken out of the copy."""
    rule, edits = REMOVED[name]
    key = KEY if rule == "auth" else b""
    assert rule in _broken(Memory(module=changed(*edits), key=key))


def test_every_rule_is_taken_out_once() -> None:
    """No rule of acceptance is only believed to be tried."""
    assert set(ALL_RULES) - {"taken"} == {rule for rule, _ in REMOVED.values()}


def test_a_node_that_takes_nothing_is_found() -> None:
    """Refusing everything is safe and no pump."""
    deaf = changed(("head.is_beyond_limits(whole)),", "True),"))
    assert "taken" in _broken(Memory(module=deaf))


def test_what_a_broker_cannot_do_is_not_called_kept() -> None:
    """Without old messages the rule about them is left open."""
    found = Judge(bench=bench(Memory(delivers_old=False))).judge()
    untried = {one.rule for one in found if one.kept is None}
    assert {"retained", "power"} == untried


def test_there_are_enough_cases() -> None:
    """At least 40 to take and 120 to refuse, each name once."""
    answers = Counter(case.answer for case in CASES)
    assert answers["taken"] + answers["quiet"] >= 40
    assert answers["refused"] >= 120
    assert len(CASES) == len({case.name for case in CASES})


@pytest.mark.parametrize("record", RECORDED["cases"], ids=lambda one: one["name"])
def test_a_recorded_case_is_answered_as_written(record: dict[str, Any]) -> None:
    """The written bytes, in the written state, have the written answer."""
    shown = RECORDED["head"]
    node = Node("bench-1", shown["boot"], {"a": LIMITS}, bytes.fromhex(record["key"]))
    node.tick(shown["up"])
    head = node.heads["a"]
    head.n, node.fence = shown["n"], shown["fence"]
    head.budget.take(DAY_UL - record["room_ul"], shown["up"])
    if record["situation"] == "held":
        node.hold(b"{}", shown["up"])
    if record["situation"] == "running":
        first = read_command(bytes.fromhex(RECORDED["cases"][0]["payload_hex"]))
        assert first is not None
        head.run = Run(first, shown["up"])
    payload = bytes.fromhex(record["payload_hex"])
    told = node.command(payload, shown["up"], retained=record["retained"])
    results = [said for suffix, said in told if suffix == "result"]
    said = [(one["phase"], one["reason"]) for one in results]
    expected = [(record["answer"], record["reason"])]
    silent = record["answer"] in {"silent", "quiet"}
    assert said == (
        [] if silent or (record["may_be_silent"] and not said) else expected
    )


def test_the_record_is_the_same_each_time() -> None:
    """Equal programs write equal bytes."""
    assert json.dumps(recorded()) == json.dumps(recorded())
