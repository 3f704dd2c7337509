"""Forged and replayed messages, a hundred thousand of them, and not one is believed.

H60. Who has no key can repeat what was said, change it, or sign with a key of his own.
The count of runs at the node, and the beat the daemon goes by, are the judges.
"""

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from demo.node.node import canonical
from slackwater.facts.messages import Beat
from slackwater.facts.sight import Sight, see
from slackwater.outside.wire import Decoder, Spoiled
from slackwater.outside.wire.commands import run_bytes
from tests.demo.nodes import BOOT, HOUR_MS, KEY, RESTED_MS, Bench, attempt, bench
from tests.outside.samples import (
    BEAT_AT,
    COMMAND,
    RESULT_AT,
    ROOT,
    SIGNED_VIEW,
    changed,
    heard,
)

# In every run, and with `--long`: the number a promise of this project names.
SLICE, WHOLE = 2_000, 100_000
COUNTS = [
    SLICE,
    pytest.param(WHOLE, marks=[pytest.mark.long, pytest.mark.timeout(600)]),
]
RUNS, RUN_UL, RUN_MS = 20, 1_000, 2_000
SEED = 7


def genuine(number: int, boot: str = BOOT) -> bytes:
    """The command for the node's run of this number, signed by the daemon itself."""
    command = replace(
        COMMAND,
        attempt=attempt(number + 1),
        boot=boot,
        n=number,
        ul=RUN_UL,
        ms=RUN_MS,
        cut_ms=2_500,
        until_up=RESTED_MS + HOUR_MS,
    )
    return run_bytes(command, KEY)


def run_all(here: Bench) -> list[bytes]:
    """Let the node make its runs; everything that was said to it and by it."""
    said = []
    for number in range(RUNS):
        said.append(genuine(number, here.node.boot))
        here.send(said[-1])
        here.wait(RUN_MS)
    return said


def changes(chance: random.Random, number: int) -> dict[str, object]:
    """What somebody would change to have one run more."""
    return {
        "n": number,
        "boot": BOOT,
        "id": f"{chance.getrandbits(128):032x}",
        "until_up": RESTED_MS + 2 * HOUR_MS,
        "fence": chance.randint(3, 10**6),
        "ul": chance.randint(1, 5_000),
    }


def forged(captured: list[bytes], count: int, number: int) -> Iterator[bytes]:
    """So many messages of somebody who heard everything and has no key.

    Repeated as it was; changed under the old code; signed with another key; with the
    code of another message; cut or lengthened; without a code.
    """
    chance = random.Random(SEED)  # noqa: S311 -- to repeat, not to hide
    for _ in range(count):
        base = chance.choice(captured)
        wish = changes(chance, number)
        yield chance.choice(
            [
                base,
                changed(base, **wish),
                run_bytes(replace(COMMAND, boot=BOOT, n=number), chance.randbytes(32)),
                changed(base, **wish, mac=f"{chance.getrandbits(256):064x}"),
                base[: chance.randint(0, len(base))],
                base + chance.randbytes(chance.choice([1, 2_000])),
                changed(base, **wish, mac=...),
            ]
        )


@pytest.mark.parametrize("count", COUNTS)
def test_h60_no_forged_or_replayed_command_runs(count: int) -> None:
    """As many runs as were ordered, then none for the forgeries, then the next one."""
    here = bench(key=KEY)
    captured = run_all(here)
    for payload in forged(captured, count, RUNS):
        here.send(payload)
        here.told.clear()
    assert (RUNS, RUNS * RUN_UL) == (
        here.channel()["n"],
        here.channel()["odo_ul"],
    )
    assert not here.pumping()
    here.send(genuine(RUNS))
    assert here.pumping()


@pytest.mark.parametrize("count", COUNTS)
def test_h60_what_ran_before_a_power_up_never_runs_after_it(count: int) -> None:
    """Another boot: every captured command is of a life that is over."""
    before = bench(key=KEY)
    captured = run_all(before)
    after = bench(key=KEY)
    after.node.boot = "9e1b000000000002"
    chance = random.Random(SEED)  # noqa: S311 -- to repeat, not to hide
    for _ in range(count):
        after.send(chance.choice(captured))
        after.told.clear()
    assert (0, 0) == (after.channel()["n"], after.channel()["odo_ul"])


@pytest.mark.parametrize("count", COUNTS)
def test_h60_no_forged_report_is_read_and_no_repeated_beat_is_new(count: int) -> None:
    """A forgery is spoiled; a repeated beat neither counts nor looks fresh."""
    here = bench(key=KEY)
    run_all(here)
    said = [(kind, canonical(plain).encode()) for kind, plain in here.told]
    said += [("beat", canonical(here.node.beat()[1]).encode())]
    reports = {
        "beat": [payload for kind, payload in said if kind == "beat"],
        "result": [payload for kind, payload in said if kind == "result"],
    }
    assert all(reports.values())
    decoder, sight = Decoder(root=ROOT, view=SIGNED_VIEW), Sight(started_boot_s=0.0)
    for payload in reports["beat"]:
        hear_late(sight, decoder, payload)
    newest = sight.nodes["left"].beat
    chance = random.Random(SEED)  # noqa: S311 -- to repeat, not to hide
    for _ in range(count):
        kind = chance.choice(["beat", "result"])
        place = BEAT_AT if kind == "beat" else RESULT_AT
        base = chance.choice(reports[kind])
        payload = tampered(chance, base)
        read = decoder.decode(heard(place, payload, later_s=60.0))
        assert isinstance(read, Spoiled), payload
        hear_late(sight, decoder, chance.choice(reports["beat"]))
    assert newest is sight.nodes["left"].beat


def hear_late(sight: Sight, decoder: Decoder, payload: bytes) -> None:
    """Let the daemon hear a genuine beat, a minute late."""
    read = decoder.decode(heard(BEAT_AT, payload, later_s=60.0))
    assert isinstance(read, Beat)
    see(sight, read)


def tampered(chance: random.Random, base: bytes) -> bytes:
    """A report that says something else than the node did, or nothing that can be."""
    return chance.choice(
        [
            changed(base, up=chance.randint(10**8, 2**53)),
            changed(base, boot=f"{chance.getrandbits(64):016x}"),
            changed(base, mac=f"{chance.getrandbits(256):064x}"),
            changed(base, mac=...),
            base[: chance.randint(0, len(base) - 1)],
            base + b" " * 5_000,
        ]
    )
