"""The node's rules under MicroPython: byte for byte what they say under Python."""

import json
import random
import subprocess
from pathlib import Path
from typing import Any

import pytest

from demo.node import node as rules
from slackwater.outside.kit import recorded
from tests.demo import node_play
from tests.demo.node_play import Player, play
from tests.demo.nodes import (
    BOOT,
    HOUR_MS,
    KEY,
    LIMITS,
    RESTED_MS,
    attempt,
    encoded,
    openssl_code,
    run_fields,
    stop_bytes,
)

HERE = Path(__file__).parent
RULES = Path(str(rules.__file__))
Script = list[list[object]]
RECORDED: Any = recorded()
# How a field may be out of form; what is legal stands among it.
_ODD = ("", "x", "0" * 16, "A" * 32, "00", "-1", "1e3", "1.0", "NaN", "true", "null")
_SIGNED = list(run_fields())


def _power(key: bytes = b"", up_ms: int = RESTED_MS) -> Script:
    heads = {chan: {**LIMITS, "day_ul": 2_500} for chan in "ab"}
    first: list[object] = ["power", 'virtual"\\1', BOOT, heads, key.hex(), 10_000]
    return [first, ["tick", up_ms]]


def _command(payload: bytes, up_ms: int, *, retained: bool = False) -> list[object]:
    return ["command", payload.hex(), up_ms, retained]


def _signed(fields: dict[str, object]) -> bytes:
    text = "\n".join(str(fields[name]) for name in _SIGNED)
    return encoded({**fields, "mac": openssl_code(KEY, text.encode())})


def _torn(chance: random.Random, payload: bytes) -> bytes:
    """A payload with one field, byte or end spoilt."""
    fields = json.loads(payload)
    name = chance.choice(list(fields))
    spoilt = json.dumps(fields[name]).encode()
    odd = chance.choice(_ODD)
    kinds = (
        payload.replace(b":" + spoilt, b":" + odd.encode()),
        payload.replace(b":" + spoilt, b":" + json.dumps(odd).encode()),
        payload.replace(b",", b" ", 1),
        payload.replace(b":", b" ", 1),
        payload.replace(b"}", b',"n":0}'),
        payload.replace(b"}", b",}"),
        payload[: chance.randrange(len(payload))],
        payload.replace(b'"a"', b'"\xff"'),
        b"\xef\xbb\xbf" + payload,
        payload + b" " * chance.choice((1, 900)),
        payload + b"x",
        payload.replace(b'"v":1', b'"v" : 1'),
        bytes(chance.randrange(256) for _ in range(40)),
    )
    return chance.choice(kinds)


def _walk(seed: int) -> Script:
    """Commands good, stale and torn, holds, switches and time."""
    chance = random.Random(seed)  # noqa: S311  # no secret
    key = KEY if seed % 3 == 0 else b""
    script, up_ms = _power(key, chance.choice((9_000, HOUR_MS, RESTED_MS))), RESTED_MS
    numbers = dict.fromkeys("abc", 0)
    player = Player(rules)
    for step in script:
        player.line(step)
    for count in range(40):
        up_ms += chance.choice((0, 1, 700, 2_000, 2_600, 10_000, HOUR_MS))
        chan = chance.choice("aaabbc")
        fields = run_fields(
            id=attempt(chance.choice((count, chance.randrange(count + 1)))),
            chan=chan,
            n=max(0, numbers[chan] - chance.choice((0, 0, 0, 1))),
            fence=chance.choice((2, 3, 3, 3, 3)),
            ul=chance.choice((1_000, 1_333, 5_001)),
            until_up=up_ms + chance.choice((-1, 0, 8_000)),
        )
        payload = _signed(fields) if key else encoded(fields)
        step = [
            _command(payload, up_ms),
            _command(_torn(chance, payload), up_ms),
            _command(payload, up_ms, retained=True),
            _command(stop_bytes(chance.choice((None, "a"))), up_ms),
            ["hold", chance.choice((b"", b"{}")).hex(), up_ms],
            ["input", "leak", up_ms, chance.random() < 0.3],
            ["tick", up_ms],
            ["fail", "b", up_ms],
        ][chance.choices(range(8), (9, 6, 1, 2, 1, 1, 3, 0.1))[0]]
        script.append(step)
        # What was taken so far raises the number the next one must carry.
        numbers |= _numbers(player.line(step))
    return script


def _numbers(line: str) -> dict[str, int]:
    """The next number of each channel, by the last beat."""
    said = [item["beat"] for item in json.loads(line).values() if "beat" in item]
    return {chan: head["n"] for chan, head in said[-1]["chan"].items()}


def _codes() -> Script:
    """RFC 4231, test cases 1, 2 and 3 (values from memory), as keys and messages."""
    pairs = (
        (b"\x0b" * 20, b"Hi There"),
        (b"Jefe", b"what do ya want for nothing?"),
        (b"\xaa" * 20, b"\xdd" * 50),
    )
    return [["code", key.hex(), message.hex()] for key, message in pairs]


def _cases() -> Script:
    """Every case of the kit, signed and not, at a node in the state it is made for."""
    script: Script = []
    for signs in (False, True):
        cases = [one for one in RECORDED["cases"] if bool(one["key"]) is signs]
        for case in cases:
            script += _power(bytes.fromhex(case["key"]), RECORDED["head"]["up"])
            payload = bytes.fromhex(case["payload_hex"])
            step = _command(payload, RESTED_MS, retained=case["retained"])
            script.append(step)
    return script


def _under_micropython(
    tmp_path: Path, modules: str, scripts: list[Script]
) -> list[str]:
    file = tmp_path / "scripts.json"
    file.write_text(json.dumps(scripts))
    player = Path(str(node_play.__file__))
    words: list[str | Path] = [
        "node",
        HERE / "node_play.mjs",
        modules,
        RULES,
        player,
        file,
    ]
    done = subprocess.run(words, capture_output=True, check=False, text=True)
    assert "" == done.stderr
    return done.stdout.splitlines()


@pytest.fixture
def scripts() -> list[Script]:
    """Thirty walks, every case of the kit, and the codes of RFC 4231."""
    return [_codes(), _cases(), *(_walk(seed) for seed in range(30))]


@pytest.mark.timeout(600)  # another process, on a machine that may be busy
def test_micropython_says_what_python_says(
    tmp_path: Path, micropython: str, scripts: list[Script]
) -> None:
    """Thirty random walks of forty steps: torn payloads, codes, holds and hours."""
    runtime, *told = _under_micropython(tmp_path, micropython, scripts)
    assert "micropython" == runtime
    assert [play(rules, script) for script in scripts] == [json.loads(x) for x in told]


def test_the_walks_reach_every_answer(scripts: list[Script]) -> None:
    """What is compared holds every word a node can answer with."""
    told = "".join(line for script in scripts for line in play(rules, script))
    words = ["taken", "running", "complete", "stopped", "cut", "retained", "form"]
    words += ["auth", "boot", "fence", "number", "late", "busy", "held", "limit"]
    assert [] == [word for word in [*words, "budget"] if f'"{word}"' not in told]
