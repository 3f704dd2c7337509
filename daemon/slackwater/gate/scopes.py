"""Which doses a scope reaches.

Floor 3. One subject: the words of scopes. Laws here: a scope reaches the doses it names
and, through a group, those that dose together with them; effect-free and trace lines
stay free of a hold on alkalinity unless they are paired; a run into a cylinder is
reached by what stops pumps, never by what is wrong with the water.

| scope | what it reaches |
|---|---|
| `all`, `tank/ID`, `pump/ID`, `node/ID` | every run there, into a cylinder too |
| `water/TANK` | every dose of a plan into that tank |
| `alkalinity/TANK` | what adds alkalinity |
| `hydroxide/TANK`, `carbonate/TANK` | hydroxide; carbonate |
| `raising/TANK` | both: what lifts pH as it is dosed |
| `carbon/TANK` | organic carbon |
| `corrections/TANK` | lines that correct |
| `minerals/TANK` | of these what holds calcium, magnesium, another ion or a trace |
| `extras/TANK` | corrections and carbon |
| `treated/TANK` | corrections, carbon and traces |
"""

from collections.abc import Callable, Mapping

from slackwater.facts.plan import OUT_OF_WATER
from slackwater.gate.kinds import CARBON, CARBONATE, HYDROXIDE, MINERAL, TRACE
from slackwater.gate.moment import Ask, LineRule, Moment, PumpRule

Test = Callable[[PumpRule, LineRule], bool]


def _corrects(line: LineRule) -> bool:
    return line.line.purpose == "correction"


_WORDS: Mapping[str, Test] = {
    "water": lambda _pump, _line: True,
    "alkalinity": lambda _pump, line: line.follows_alkalinity,
    "hydroxide": lambda pump, _line: HYDROXIDE in pump.kinds,
    "carbonate": lambda pump, _line: CARBONATE in pump.kinds,
    "raising": lambda pump, _line: bool(pump.kinds & {HYDROXIDE, CARBONATE}),
    "carbon": lambda pump, _line: CARBON in pump.kinds,
    "corrections": lambda _pump, line: _corrects(line),
    "minerals": lambda pump, line: _corrects(line) and MINERAL in pump.kinds,
    "extras": lambda pump, line: _corrects(line) or CARBON in pump.kinds,
    "treated": lambda pump, line: _corrects(line) or bool(pump.kinds & {CARBON, TRACE}),
}
WORDS = ("all", "tank", "pump", "node", *_WORDS)


def reaches(scope: str, ask: Ask) -> bool:
    """Whether a scope covers this very dose."""
    if scope == "all":
        return True
    word, _, owner = scope.partition("/")
    pump = ask.pump.pump
    if word in _WORDS:
        if ask.kind in OUT_OF_WATER or ask.line is None or owner != pump.tank:
            return False
        return _WORDS[word](ask.pump, ask.line)
    return _owned(word, ask.pump) == owner


def reaches_group(scope: str, moment: Moment, ask: Ask) -> bool:
    """Whether a scope covers a line that doses together with this one."""
    if ask.line is None or not ask.line.mates:
        return False
    return any(covers(scope, pump, line) for pump, line in mates_of(moment, ask.line))


def covers(scope: str, pump: PumpRule, line: LineRule) -> bool:
    """Whether a scope covers the doses of a line; `all` is for the line itself."""
    word, _, owner = scope.partition("/")
    # What follows alkalinity knows its group already.
    if word == "alkalinity":
        return False
    if word in _WORDS:
        return owner == pump.pump.tank and _WORDS[word](pump, line)
    return _owned(word, pump) == owner


def mates_of(moment: Moment, line: LineRule) -> list[tuple[PumpRule, LineRule]]:
    """The lines of its group with their pumps, as far as the plan in force has them.

    A dose of the plan before may have mates that the plan in force lacks.
    """
    found = []
    for name in line.mates:
        mate = moment.rules.lines.get(name)
        pump = None if mate is None else moment.rules.pumps.get(mate.line.pump)
        if mate is not None and pump is not None:
            found.append((pump, mate))
    return found


def _owned(word: str, pump: PumpRule) -> str | None:
    owners = {"tank": pump.pump.tank, "pump": pump.pump.id, "node": pump.pump.node}
    return owners.get(word)
