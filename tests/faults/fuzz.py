"""Whatever comes in, mutated: nothing falls over, and nothing invalid is taken.

`python -m tests.faults.fuzz COUNT [SEED]` tries so many inputs, most of them payloads,
and prints what was tried, what was taken, and how memory stood.
"""

import json
import math
import resource
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from datetime import timedelta
from functools import cache
from pathlib import Path
from random import Random

import jsonschema

from demo.node.node import Node
from slackwater.errors import InputError
from slackwater.facts.messages import SpoiledReading
from slackwater.facts.tank import Machine
from slackwater.outside.approved import machine_from, machine_text
from slackwater.outside.lab import Wishes, read_report
from slackwater.outside.settings import read_machine, read_plan
from slackwater.outside.wire import Ignored, Spoiled, schemas
from slackwater.planning.ceilings import check
from slackwater.planning.timetable import Timetable
from tests.faults.mutators import bytewise, cellwise, jsonwise, linewise
from tests.outside import samples
from tests.outside.lab.reports import SAMPLES

TOP = Path(__file__).parents[2]
PLACES = {
    samples.BEAT_AT: (samples.BEAT, "beat"),
    samples.RESULT_AT: (samples.ENDED, "result"),
    samples.READING_AT: (samples.READING, "reading"),
    samples.REQUEST_AT: (samples.REQUEST, "request"),
    f"{samples.RESULT_AT}#taken": (samples.TAKEN, "result"),
    f"{samples.RESULT_AT}#refused": (samples.REFUSED, "result"),
}
LIMITS = {
    "nominal_ul_per_min": 99_000,
    "max_ul": 10_000,
    "max_ms": 20_000,
    "max_cut_ms": 25_000,
    "day_ul": 500_000,
}
UP_MS = 48 * 3_600_000
# Of a thousand inputs: reading a file takes a thousand times as long as a payload.
SHARES = {"payload": 700, "command": 280, "settings": 5, "plan": 7, "report": 8}
# Memory may grow by what caches keep, and by no more.
GROWTH_MIB = 40.0


@dataclass(slots=True)
class Tried:
    """What was tried, what of it was taken, and what went wrong."""

    tried: Counter[str]
    taken: Counter[str]
    wrong: list[str]
    growth_mib: float = 0.0


def attempt(count: int, seed: int, folder: Path) -> Tried:
    """Try so many inputs; memory is looked at from the second quarter on."""
    chance = Random(seed)  # noqa: S311 -- to be repeated, not to be secret
    found = Tried(Counter(), Counter(), [])
    kinds, weights = list(SHARES), list(SHARES.values())
    begin_mib = 0.0
    for number in range(count):
        if number == count // 4:
            begin_mib = peak_mib()
        (kind,) = chance.choices(kinds, weights)
        found.tried[kind] += 1
        case = Random(f"{seed}/{number}")  # noqa: S311 -- one input from its number
        try:
            found.taken[kind] += _TRIALS[kind](case, folder)
        except Exception as error:  # noqa: BLE001 -- whatever is raised is a finding
            found.wrong.append(
                f"{kind} {seed}/{number}: {type(error).__name__} {error}"
            )
    found.growth_mib = peak_mib() - begin_mib
    return found


def peak_mib() -> float:
    """The most memory this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _payload(chance: Random, _folder: Path) -> bool:
    """A message for the daemon; what it takes is in order for standard tools."""
    place = chance.choice(sorted(PLACES))
    content, kind = PLACES[place]
    mutate = chance.choice((bytewise, jsonwise, jsonwise))
    payload = mutate(content, chance)
    decoded = samples.decode(place.partition("#")[0], payload)
    if isinstance(decoded, Spoiled | SpoiledReading | Ignored):
        return False
    _must(_is_valid(payload, kind), f"took {payload!r}")
    return True


def _is_valid(payload: bytes, kind: str) -> bool:
    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        _must(len({name for name, _ in pairs}) == len(pairs), "took a name twice")
        return dict(pairs)

    content = json.loads(payload.decode(), object_pairs_hook=once)
    return bool(_validator(kind).is_valid(content))


@cache
def _validator(kind: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(schemas()[kind])


def _command(chance: Random, _folder: Path) -> bool:
    """A command for a node; what runs is within the limits of the device."""
    node = Node("virtual-1", samples.BOOT, {"a": LIMITS})
    node.heads["a"].n = 4
    node.tick(UP_MS)
    sound = samples.changed(samples.RUN, until_up=UP_MS + 8_000)
    mutate = chance.choice((bytewise, jsonwise))
    node.command(mutate(sound, chance), UP_MS)
    run = node.heads["a"].run
    if run is None:
        return False
    _must(0 < run.ul <= LIMITS["max_ul"], f"runs {run.ul} µL")
    _must(0 < run.ms <= run.cut_ms <= LIMITS["max_cut_ms"], f"runs {run.cut_ms} ms")
    _must(run.n == 4, f"took number {run.n}")
    return True


@cache
def _samples() -> tuple[tuple[str, str, Machine], ...]:
    """Every sample with a plan: both texts, and the machine."""
    found = []
    for path in sorted((TOP / "config").glob("*/plan.toml")):
        folder = path.parent
        texts = [(folder / name).read_text("utf-8") for name in _FILES]
        found.append((texts[0], texts[1], read_machine(folder)))
    return tuple(found)


_FILES = ("slackwater.toml", "plan.toml")


def _settings(chance: Random, folder: Path) -> bool:
    """A machine; what is taken has finite figures and is written as it was read."""
    text, _, _ = chance.choice(_samples())
    _write(folder / _FILES[0], text, chance)
    try:
        machine = read_machine(folder)
    except InputError:
        return False
    _must(all(map(math.isfinite, _figures(machine))), "took a figure that is none")
    _must(machine_from(machine_text(machine)) == machine, "another machine came back")
    for pump in machine.pumps.values():
        _must(pump.per_dose_ul >= 0 <= pump.per_day_ul, f"took the caps of {pump.id}")
    return True


def _figures(value: object) -> Iterator[float]:
    if isinstance(value, float | int):
        yield value
    elif is_dataclass(value):
        for each in fields(value):
            yield from _figures(getattr(value, each.name))
    elif isinstance(value, dict):
        for inside in value.values():
            yield from _figures(inside)
    elif isinstance(value, tuple):
        for inside in value:
            yield from _figures(inside)


def _plan(chance: Random, folder: Path) -> bool:
    """A plan; what is taken and passes its check keeps every cap in each dose."""
    _, text, machine = chance.choice(_samples())
    _write(folder / _FILES[1], text, chance)
    try:
        plan = read_plan(folder, machine)
        timetable = Timetable(plan, machine)
    except InputError:
        return False
    if check(plan, machine):
        return False
    for line in plan.lines:
        pump = machine.pumps[line.pump]
        _must(
            0 < line.per_day_ul <= pump.per_day_ul, f"took {line.per_day_ul} µL a day"
        )
    for tank in timetable.tanks:
        for number in range(2):
            day = timetable.day(tank, plan.starts + timedelta(days=number))
            for dose in day.doses:
                cap_ul = machine.pumps[dose.pump].per_dose_ul
                _must(0 < dose.volume_ul <= cap_ul, f"took a dose of {dose.volume_ul}")
    return True


def _report(chance: Random, folder: Path) -> bool:
    """A laboratory's file; what is taken has only finite levels, none below nought."""
    sample = chance.choice(sorted(SAMPLES.iterdir()))
    content = sample.read_bytes()
    path = folder / f"report{sample.suffix}"
    if sample.suffix == ".json" and chance.random() < 0.6:
        path.write_bytes(jsonwise(content, chance))
    elif chance.random() < 0.7:
        text = cellwise(content.decode("latin-1"), chance)
        path.write_bytes(text.encode("utf-8", "replace"))
    else:
        path.write_bytes(bytewise(content, chance))
    try:
        report = read_report(path, Wishes())
    except InputError:
        return False
    for one in report.values:
        _must(math.isfinite(one.level) and one.level >= 0, f"took {one}")
    return True


def _write(path: Path, text: str, chance: Random) -> None:
    changed = linewise(text, chance).encode("utf-8", "replace")
    path.write_bytes(bytewise(changed, chance) if chance.random() < 0.2 else changed)


def _must(is_so: bool, words: str) -> None:
    if not is_so:
        raise AssertionError(words)


_TRIALS: dict[str, Callable[[Random, Path], bool]] = {
    "payload": _payload,
    "command": _command,
    "settings": _settings,
    "plan": _plan,
    "report": _report,
}


def report(found: Tried) -> Iterator[str]:
    """What was tried, for people."""
    yield (
        f"{found.tried.total()} mutated inputs, {len(found.wrong)} findings, "
        f"memory grew by {found.growth_mib:.1f} MiB"
    )
    for kind in SHARES:
        yield f"  {kind:9} {found.tried[kind]:8} tried, {found.taken[kind]:7} taken"
    yield from found.wrong[:10]


def main() -> int:
    """Try, print, end with 1 when anything was found."""
    count = int(sys.argv[1])
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory() as name:
        found = attempt(count, seed, Path(name))
    for line in report(found):
        sys.stdout.write(f"{line}\n")
    return int(bool(found.wrong) or found.growth_mib > GROWTH_MIB)


if __name__ == "__main__":
    sys.exit(main())
