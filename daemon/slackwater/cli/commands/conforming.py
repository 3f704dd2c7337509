"""`conform`: does a pump node keep the rules?

Floor 8. One subject: a node on a bench, judged. Laws here: nothing is sent before a
person says that no tank hangs on it; the ledger and the two files are not looked at;
what could not be tried is said and never counts as kept.
"""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import host_and_port
from slackwater.errors import Finding, InputError
from slackwater.outside.kit import (
    ALL_RULES,
    Bench,
    Found,
    Judge,
    Line,
    Place,
    Plate,
    recorded,
)
from slackwater.outside.settings.documents import read_key
from slackwater.outside.settings.quantities import (
    Flow,
    Milliseconds,
    Quantity,
    Volume,
)
from slackwater.outside.settings.tables import Findings
from slackwater.outside.wire import Root, asyncapi, is_identity, schemas

_RATE = Flow("1 uL/min", "10 L/min")
_AMOUNT = Volume("8 uL", "1 L")
_TIME = Milliseconds("1 ms", "1 h")
_NL_PER_S_IN_UL_PER_MIN = 60 / 1000
_PLAIN_PORT = 1883
# What it would take to try a rule.
_UNTRIED = {
    "retained": ": a node that is awake is never handed what lay on the broker",
    "power": ": needs --power-cycle",
}


class Bed(TypedDict):
    """The options of the verb."""

    no_tank: bool
    channel: str
    rate: str | None
    largest: str | None
    longest: str | None
    cut: str | None
    broker: str
    site: str
    prefix: str
    user: str
    password_file: Path | None
    key_file: Path | None
    rules: tuple[str, ...]
    power_cycle: bool
    write: Path | None


@verb(
    "conform",
    epilog="Example: slackwater conform shelf --no-tank --rate '30 mL/min' --largest "
    "'5 mL' --longest '20 s' --cut '25 s'. It runs the pump some sixty times for a "
    "moment, and starts long runs that it stops at once: water in the bottle, the "
    "outlet in a measuring cup, no tank. A node that was just switched on has no room "
    "yet: wait an hour. Switch it off and on afterwards, before a daemon hears it: the "
    "bench used higher fences than a daemon has, which would take them for those of a "
    "second one and hold everything. It looks at no daemon's files and at no ledger.",
)
@click.argument("node", required=False)
@click.option(
    "--no-tank",
    is_flag=True,
    help="Say that no outlet of this node ends in a tank; needed.",
)
@click.option("--channel", default="a", show_default=True, help="The head to judge.")
@click.option("--rate", metavar="FLOW", help="What the head nominally gives.")
@click.option("--largest", metavar="VOLUME", help="The node's own limit for one dose.")
@click.option("--longest", metavar="TIME", help="The node's own limit for run time.")
@click.option("--cut", metavar="TIME", help="The node's own limit for the hard cut.")
@click.option(
    "--broker",
    default=f"127.0.0.1:{_PLAIN_PORT}",
    show_default=True,
    metavar="HOST:PORT",
    help="A broker for the bench, with no daemon on it.",
)
@click.option("--site", default="home", show_default=True, help="Site in the topics.")
@click.option(
    "--prefix", default="slackwater/1", show_default=True, help="Begin of every topic."
)
@click.option("--user", default="", help="User name at the broker.")
@click.option(
    "--password-file",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    metavar="FILE",
    help="File with that user's password.",
)
@click.option(
    "--key-file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The node's key, where commands are signed.",
)
@click.option(
    "--rule",
    "rules",
    multiple=True,
    type=click.Choice(ALL_RULES),
    metavar="RULE",
    help="Try only this rule; may be repeated.",
)
@click.option(
    "--power-cycle",
    is_flag=True,
    help="At the end, ask to switch the node off and on, and judge how it comes back.",
)
@click.option(
    "--write",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write schemas, the AsyncAPI document and all cases there, and end.",
)
def conform(shell: Shell, node: str | None, **bed: Unpack[Bed]) -> Answer:
    """Say whether a pump node keeps the rules.

    For the author of a node: asks it some two hundred commands on a broker of its own,
    and says for each rule whether it was kept.
    """
    del shell
    if bed["write"] is not None:
        return _written(bed["write"])
    place, plate = _place(node, bed), _plate(bed)
    _refuse_without_bench(bed)
    with Line(place) as line:
        judge = Judge(
            bench=Bench(wire=line, plate=plate),
            wanted=bed["rules"],
            power_cycle=_ask_for_power if bed["power_cycle"] else None,
        )
        found = judge.judge()
    return _answer(place, found)


def _place(node: str | None, bed: Bed) -> Place:
    broker = host_and_port(bed["broker"])
    if broker is None:
        raise _mistake(
            place="--broker",
            found=bed["broker"],
            expected="HOST:PORT, for example 127.0.0.1:1883",
        )
    if node is None or not is_identity(node):
        raise _mistake(
            place="NODE",
            found=node or "nothing",
            expected="the node's name: a-z, 0-9 and -",
        )
    if not is_identity(bed["channel"]):
        raise _mistake(
            place="--channel",
            found=bed["channel"],
            expected="a channel: a-z, 0-9 and -",
        )
    password = ""
    if bed["password_file"] is not None:
        password = _line_of(bed["password_file"])
    return Place(
        root=Root(site=bed["site"], prefix=bed["prefix"]),
        node=node,
        host=broker[0],
        port=broker[1],
        user=bed["user"],
        password=password,
        key=_key(bed),
    )


def _key(bed: Bed) -> bytes:
    path = bed["key_file"]
    return b"" if path is None else read_key(path, "--key-file")


def _line_of(path: Path) -> str:
    try:
        return path.read_text("utf-8").removesuffix("\n")
    except (OSError, UnicodeDecodeError) as error:
        raise _mistake(
            place="--password-file", found=str(path), expected="one line of text"
        ) from error


def _plate(bed: Bed) -> Plate:
    wanted: Mapping[str, tuple[str | None, Quantity]] = {
        "--rate": (bed["rate"], _RATE),
        "--largest": (bed["largest"], _AMOUNT),
        "--longest": (bed["longest"], _TIME),
        "--cut": (bed["cut"], _TIME),
    }
    missing = [name for name, (text, _) in wanted.items() if text is None]
    if missing:
        raise _mistake(
            place="conform",
            found=f"no {', '.join(missing)}",
            expected="what the head gives and the node's own limits, all four, as in "
            "the example of --help",
        )
    findings = Findings("conform")
    read = {
        name: findings.attempt(name, lambda q=quantity, t=text: q.read(t or ""))  # type: ignore[misc]  # bound now
        for name, (text, quantity) in wanted.items()
    }
    rate, largest, longest, cut = (int(findings.settled(x)) for x in read.values())
    if cut < longest:
        raise _mistake(
            place="--cut", found=bed["cut"] or "", expected="at least --longest"
        )
    return Plate(
        chan=bed["channel"],
        nominal_ul_per_min=round(rate * _NL_PER_S_IN_UL_PER_MIN),
        max_ul=largest,
        max_ms=longest,
        max_cut_ms=cut,
        key=_key(bed),
    )


def _ask_for_power() -> None:
    click.echo("Switch the node off and on again, within two minutes.", err=True)


def _refuse_without_bench(bed: Bed) -> None:
    if bed["no_tank"]:
        return
    raise InputError(
        Finding(
            what="nobody said that no tank hangs on this node",
            where="conform, --no-tank",
            expected="a bench: water in the bottles, outlets in measuring cups",
            do="Take the outlets out of every tank, then say --no-tank.",
        )
    )


def _mistake(*, place: str, found: str, expected: str) -> InputError:
    return InputError(
        Finding(
            what=f"found {found!r}",
            where=f"conform, {place}",
            expected=expected,
            do="Correct it; nothing was sent.",
        )
    )


def _answer(place: Place, found: Sequence[Found]) -> Answer:
    rules = [rule for rule in ALL_RULES if any(one.rule == rule for one in found)]
    counts = {
        rule: Counter(one.kept for one in found if one.rule == rule) for rule in rules
    }
    broken = [one for one in found if one.kept is False]
    fields = {
        "node": place.node,
        "rules": {
            rule: {
                "kept": count[True],
                "broken": count[False],
                "not_tried": count[None],
            }
            for rule, count in counts.items()
        },
        "broken": [
            {
                "rule": one.rule,
                "case": one.case,
                "expected": one.expected,
                "answered": one.answered,
            }
            for one in broken
        ],
    }
    lines = [_rule_words(rule, count) for rule, count in counts.items()]
    lines += [
        f"{one.case}: expected {one.expected}, answered {one.answered}"
        for one in broken
    ]
    lines.append(
        _broken_words(place.node, len({one.rule for one in broken}))
        if broken
        else f"{place.node} keeps every rule that was tried."
    )
    return Answer(
        fields=fields, text="\n".join(lines), exit_code=REFUSED if broken else 0
    )


def _broken_words(node: str, count: int) -> str:
    rules = "one rule" if count == 1 else f"{count} rules"
    return f"{node} breaks {rules}; were its own limits said as it has them?"


def _rule_words(rule: str, count: Mapping[bool | None, int]) -> str:
    tried = count.get(True, 0) + count.get(False, 0)
    if not tried:
        return f"{rule:<9} not tried{_UNTRIED.get(rule, '')}"
    word = "broken" if count.get(False, 0) else "kept"
    return f"{rule:<9} {word:<7} {count.get(True, 0)} of {tried}"


def _written(folder: Path) -> Answer:
    """Every document of the kit, each whole; what stood there is replaced."""
    documents: dict[str, object] = {
        "asyncapi.json": asyncapi(),
        "cases.json": recorded(),
        **{f"schema-{kind}.json": schema for kind, schema in schemas().items()},
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, document in documents.items():
        text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
        (folder / name).write_text(text, "utf-8")
    return Answer(
        fields={"written": sorted(documents)},
        text="\n".join(str(folder / name) for name in sorted(documents)),
    )
