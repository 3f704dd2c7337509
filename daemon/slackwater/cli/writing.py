"""The files that `setup` writes: machine, plan, and the broker's access list.

Floor 8. One subject: answers → text. Laws here: the files are commented for the person
who will change them; a cap nobody answered is never written; an identity on the broker
may do what it needs and nothing else.
"""

import json
from collections.abc import Iterator
from datetime import date

from slackwater.cli.answers import Answers, PumpAnswer, recipe_parts
from slackwater.outside.rights import (
    ACTUATE_USER,
    OBSERVE_USER,
    Household,
    access_list,
)
from slackwater.outside.wire import Root

OBSERVE_FILE = "observe.password"
ACTUATE_FILE = "actuate.password"
MINUTES_A_DAY = 1440
# The first window begins in the evening: by night corals and algae leave room for
# alkalinity. Common practice, no source.
FIRST_MINUTE = 1200

_MACHINE_HEAD = """\
# The machine: what is there, and how much of it may ever be dosed.
# Written by `slackwater setup` and yours to change; run `slackwater check` afterwards.
#
# Cautions, once. Stock solutions can burn skin and eyes and some get hot when
# dissolved: wear eye protection, and never mix two of them. Lead each outlet above the
# water line, so that nothing can siphon; let every cable hang in a drip loop. Mains
# voltage beside salt water is work for a licensed electrician, with a residual-current
# device. Keep children away. The program advises and counts; a person decides.
"""
_PLAN_HEAD = """\
# The plan: what is dosed, how much a day, and when. Times are those of the tank's zone.
# Nothing of it runs before `slackwater approve` and `slackwater enable`.
"""
_ACCESS_HEAD = """\
# Access list for the broker, written by `slackwater setup`.
# In mosquitto.conf:  acl_file PATH  and  allow_anonymous false

"""
_GROUP_HINT = """
# Lines that belong together can scale, hold and resume together. To pair two of them,
# write  group = "balanced"  on both and take the signs off:
# [group.balanced]
# ratio = { one = "1", other = "1" }
"""


def machine_toml(answers: Answers) -> str:
    """The text of slackwater.toml."""
    return "\n".join(_machine_lines(answers)) + "\n"


def plan_toml(answers: Answers, starts: date) -> str:
    """The text of plan.toml with a line for each pump that has an amount."""
    lines = [_PLAN_HEAD, f"name = {_quoted('first')}", f"starts = {starts}"]
    dosed = {name: pump for name, pump in answers.pumps.items() if pump.per_day}
    for number, (name, pump) in enumerate(dosed.items()):
        window = pump.window or _window(number, len(dosed))
        lines += [
            "",
            "[[line]]",
            f"id = {_quoted(name)}",
            f"tank = {_quoted(answers.tank.id)}",
            f"solution = {_quoted(name)}",
            f"per_day = {_quoted(pump.per_day or '')}",
            f"doses = {pump.doses}",
            f"windows = [{_quoted(window)}]",
        ]
    return "\n".join(lines) + "\n" + _GROUP_HINT


def broker_acl(answers: Answers) -> str:
    """The access list of a Mosquitto broker for this machine."""
    root = Root(site=answers.site)
    household = Household(root=root, nodes=frozenset({answers.node.id}))
    return _ACCESS_HEAD + access_list(household)


def _window(number: int, count: int) -> str:
    """An equal part of the day for each pump, one after the other."""
    ends = [
        (FIRST_MINUTE + MINUTES_A_DAY * part // count) % MINUTES_A_DAY
        for part in (number, number + 1)
    ]
    if count == 1:
        return "00:00-24:00"
    start, end = (f"{minute // 60:02d}:{minute % 60:02d}" for minute in ends)
    return f"{start}-{'24:00' if end == '00:00' else end}"


def _machine_lines(answers: Answers) -> Iterator[str]:
    yield _MACHINE_HEAD
    yield f"site = {_quoted(answers.site)}"
    yield from _tank_lines(answers)
    yield from _cap_lines(answers)
    for name, pump in answers.pumps.items():
        yield from _solution_lines(name, pump)
        yield from ("", f"[reservoir.{name}]", f"content = {_quoted(pump.bottle)}")
    node = answers.node
    yield "\n# The device that runs the pumps and stops them by itself; its own limits."
    yield f"[node.{node.id}]"
    yield f"day_limit = {_quoted(node.day_limit)}"
    yield f"longest_run = {_quoted(node.longest_run)}"
    for name, pump in answers.pumps.items():
        yield from _pump_lines(answers, name, pump)
    yield from _broker_lines(answers)


def _tank_lines(answers: Answers) -> Iterator[str]:
    tank = answers.tank
    yield f"\n[tank.{tank.id}]"
    if tank.name:
        yield f"name = {_quoted(tank.name)}"
    yield f"net_volume = {_quoted(tank.net_volume)}  # rock, sand, equipment taken off"
    yield f"zone = {_quoted(tank.zone)}"
    if tank.targets:
        yield f"targets = {_inline(tank.targets)}"
    if tank.uptake:
        yield "\n# What the corals use up; be modest with the lower figure."
        yield f"[tank.{tank.id}.uptake]"
        for parameter, uptake in tank.uptake.items():
            both = {"estimate": uptake.estimate, "low": uptake.low}
            yield f"{parameter} = {_inline(both)}"


def _cap_lines(answers: Answers) -> Iterator[str]:
    tank = answers.tank
    yield "\n# What may be poured in in a day (gross) and how far a value may climb"
    yield "# (net rise). A parameter that is not listed here gets nothing."
    yield f"[tank.{tank.id}.caps]"
    for parameter, cap in tank.caps.items():
        both = {"gross": cap.gross}
        if cap.net_rise is not None:
            both["net_rise"] = cap.net_rise
        yield f"{parameter} = {_inline(both)}"


def _solution_lines(name: str, pump: PumpAnswer) -> Iterator[str]:
    yield f"\n[solution.{name}]"
    if pump.recipe is not None:
        formula, hydrate, strength, purity = recipe_parts(pump.recipe)
        yield f"formula = {_quoted(formula)}"
        yield f"hydrate = {_quoted(hydrate)}"
        yield f"strength = {_quoted(strength)}  # in one litre of finished solution"
        yield f"purity = {_quoted(purity)}"
    elif pump.label is not None:
        yield "# What the label says one millilitre does."
        yield f"per_ml = {_inline(pump.label)}"
    else:
        yield "no_effects = true  # held by its millilitre caps alone"


# Nothing runs on request until somebody wants it to.
_ASKED_FOR = (
    "# What people may ask of it; nothing while a line is missing or a comment.",
    '# most_by_hand = "10 mL"  # `slackwater dose`, all of any 24 h',
    '# most_per_priming = "20 mL"  # to fill or rinse its hose, all of an hour',
)


def _pump_lines(answers: Answers, name: str, pump: PumpAnswer) -> Iterator[str]:
    yield f"\n[pump.{name}]"
    for key, text in (
        ("tank", answers.tank.id),
        ("node", answers.node.id),
        ("channel", pump.channel),
        ("solution", name),
        ("reservoir", name),
        ("rate", pump.rate),
        ("smallest_dose", pump.smallest_dose),
        ("most_per_dose", pump.most_per_dose),
        ("most_per_day", pump.most_per_day),
        ("most_per_calibration", pump.most_per_calibration),
    ):
        yield f"{key} = {_quoted(text)}"
    yield from _ASKED_FOR


def _broker_lines(answers: Answers) -> Iterator[str]:
    broker = answers.broker
    yield "\n[broker]"
    yield f"host = {_quoted(broker.host)}"
    yield f"port = {broker.port}"
    if broker.passwords:
        yield "# Passwords stand in files beside this one, never in it."
        yield f"observe_user = {_quoted(OBSERVE_USER)}"
        yield f"observe_password_file = {_quoted(OBSERVE_FILE)}"
        yield f"actuate_user = {_quoted(ACTUATE_USER)}"
        yield f"actuate_password_file = {_quoted(ACTUATE_FILE)}"


def _inline(table: dict[str, str]) -> str:
    pairs = ", ".join(f"{key} = {_quoted(text)}" for key, text in table.items())
    return f"{{ {pairs} }}"


def _quoted(text: str) -> str:
    # A JSON string is a TOML string: the same marks are escaped in the same way.
    return json.dumps(text, ensure_ascii=False)
