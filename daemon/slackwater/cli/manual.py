"""The manual page of the program, from the texts of its help.

Floor 8. One subject: one page in roff, the form that man reads. Laws here: every word
is one that `--help` says too; the same program makes the same bytes, so it bears its
version and no date; what would be an order to roff is plain text.
Source of the form: man-pages(7) and groff_man(7).
"""

import re
from collections.abc import Iterator, Sequence

import click

from slackwater import __version__
from slackwater.cli.shell import CONFIG, STATE, record_of
from slackwater.cli.verbs import PROGRAM, SECTIONS, VERBS

_SHARED = frozenset({"--config", "--state", "--json", "--help"})
_QUOTED = re.compile(r"`([^`]+)`")
_EXIT_CODES = (
    ("0", "Fine."),
    ("1", "Refused, or something was found."),
    ("2", "Wrong usage or configuration, or a fault."),
)
_FILES = (
    (f"{CONFIG}/slackwater.toml", "The machine: tanks, pumps, ceilings, broker."),
    (f"{CONFIG}/plan.toml", "The plan, as it was last written."),
    (f"{STATE}/slackwater.ledger", "Everything that happened."),
)


def page_of(program: click.Command) -> str:
    """The whole page; ends with a line end."""
    lines = (line for part in _parts(program) for line in part)
    return "\n".join(lines) + "\n"


def _parts(program: click.Command) -> Iterator[Iterator[str]]:
    context = click.Context(program, info_name=PROGRAM)
    title, *rest = _paragraphs(program.help)
    yield _head(title)
    yield _section("SYNOPSIS", [program.get_usage(context).removeprefix("Usage: ")])
    yield _section("DESCRIPTION", [*rest, *_paragraphs(program.epilog)])
    yield _section("OPTIONS", ())
    yield _options(program, context, frozenset())
    for section in SECTIONS:
        yield _section(section.upper(), ())
        for verb in VERBS:
            if verb.section == section:
                yield _verb(program, context, verb.name)
    yield _table("EXIT STATUS", _EXIT_CODES)
    yield _table("FILES", _FILES)


def _head(title: str) -> Iterator[str]:
    yield f'.TH {PROGRAM.upper()} 1 "" "{PROGRAM} {__version__}" "Manual of {PROGRAM}"'
    # Words are not parted and lines not stretched: commands are copied from here.
    yield ".nh"
    yield ".ad l"
    yield ".SH NAME"
    yield f"{PROGRAM} \\- {_escaped(title.rstrip('.'))}"


def _section(name: str, paragraphs: Sequence[str]) -> Iterator[str]:
    yield f'.SH "{name}"'
    for text in paragraphs:
        yield ".PP"
        yield _escaped(text)


def _verb(program: click.Command, parent: click.Context, name: str) -> Iterator[str]:
    group = program if isinstance(program, click.Group) else None
    found = None if group is None else group.get_command(parent, name)
    if found is None:
        return
    context = click.Context(found, info_name=name, parent=parent)
    pieces = " ".join(found.collect_usage_pieces(context))
    yield f'.SS "{_escaped(f"{PROGRAM} {name} {pieces}".rstrip())}"'
    for text in _paragraphs(found.help):
        yield ".PP"
        yield _escaped(text)
    yield from _options(found, context, _SHARED)
    for text in _paragraphs(found.epilog):
        yield ".PP"
        yield _escaped(text)


def _options(
    command: click.Command, context: click.Context, left_out: frozenset[str]
) -> Iterator[str]:
    for parameter in command.get_params(context):
        label, text = record_of(parameter, context) or ("", "")
        if label and left_out.isdisjoint(parameter.opts):
            yield from _labelled(label, text)


def _table(name: str, rows: Sequence[tuple[str, str]]) -> Iterator[str]:
    yield f'.SH "{name}"'
    for label, text in rows:
        yield from _labelled(label, text)


def _labelled(label: str, text: str) -> Iterator[str]:
    yield ".TP"
    yield f"\\fB{_escaped(label)}\\fR"
    yield _escaped(" ".join(text.split()))


def _paragraphs(text: str | None) -> list[str]:
    return [" ".join(part.split()) for part in (text or "").split("\n\n") if part]


def _escaped(text: str) -> str:
    """As plain text; what stands in backticks becomes bold."""
    plain = text.replace("\\", "\\e").replace("-", "\\-").replace('"', "\\(dq")
    # At the head of a line these would begin an order.
    plain = re.sub(r"^([.'])", r"\\&\1", plain)
    return _QUOTED.sub(r"\\fB\1\\fR", plain.replace("'", "\\(aq"))
