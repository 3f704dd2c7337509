"""What a shell may offer for the word that is being typed.

Floor 8. One subject: completion, by click's own machinery. Laws here: verbs come from
the table, loading none; names come from the two files as they lie there, and whatever
is wrong with these offers nothing and says nothing; nothing is opened but the two.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import click
from click.shell_completion import (
    CompletionItem,
    get_completion_class,
    shell_complete,
)

from slackwater.cli.shell import CONFIG, Shell
from slackwater.cli.verbs import PROGRAM, VERBS
from slackwater.water.parameters import PARAMETERS

VARIABLE = f"_{PROGRAM.upper()}_COMPLETE"
# What a shell would hand on unquoted.
_PLAIN = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")
# A keeper's file has some kB; a longer one would make the shell wait.
_BYTES_AT_MOST = 262_144
# What the words of a verb name, by the word's own name: tables of slackwater.toml.
_TABLES: Mapping[str, str] = {
    "accept": "pump",
    "name": "pump",
    "node": "node",
    "probe": "probe",
    "pump": "pump",
    "relay": "relay",
    "reservoir": "reservoir",
    "tank": "tank",
}


class _Named(click.types.StringParamType):
    """Any text, of which the names in the files are offered."""

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Those that begin with what stands there."""
        shell = ctx.find_object(Shell)
        config = CONFIG if shell is None else shell.config
        return [
            CompletionItem(name)
            for name in sorted(_offered(config, str(param.name)))
            if name.startswith(incomplete)
        ]


class _Offering(click.Group):
    """The program as a shell asks it: its verbs by the table, words with names."""

    def __init__(self, program: click.Group) -> None:
        super().__init__(PROGRAM, params=program.params)
        self._program = program

    def list_commands(self, ctx: click.Context) -> list[str]:
        return self._program.list_commands(ctx)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        found = self._program.get_command(ctx, cmd_name)
        for parameter in () if found is None else found.params:
            if parameter.type is click.STRING and _has_names(str(parameter.name)):
                parameter.type = _Named()
        return found

    def shell_complete(
        self, ctx: click.Context, incomplete: str
    ) -> list[CompletionItem]:
        verbs = [
            CompletionItem(verb.name, help=verb.purpose)
            for verb in VERBS
            if verb.name.startswith(incomplete)
        ]
        return [*verbs, *click.Command.shell_complete(self, ctx, incomplete)]


def complete(program: click.Group, instruction: str) -> int:
    """Print what the shell may offer; the exit code.

    Raises: KeyError and ValueError for a shell that does not say what was typed.
    """
    return shell_complete(_Offering(program), {}, PROGRAM, VARIABLE, instruction)


def script_for(program: click.Command, shell: str) -> str:
    """What teaches a shell to ask; `shell` is bash, zsh or fish."""
    made = get_completion_class(shell)
    return "" if made is None else made(program, {}, PROGRAM, VARIABLE).source()


def _has_names(word: str) -> bool:
    return word in _TABLES or word in ("line", "parameter", "scope")


def _offered(config: Path, word: str) -> Iterator[str]:
    if word == "parameter":
        yield from PARAMETERS
    elif word == "scope":
        yield "all"
        for kind in ("tank", "pump"):
            yield from (f"{kind}/{name}" for name in _names(config, kind))
    elif word == "line":
        yield from _lines(config)
    else:
        yield from _names(config, _TABLES[word])


def _names(config: Path, table: str) -> Iterator[str]:
    found = _read(config / "slackwater.toml").get(table)
    return filter(_PLAIN.fullmatch, found if isinstance(found, dict) else ())


def _lines(config: Path) -> Iterator[str]:
    found = _read(config / "plan.toml").get("line")
    for line in found if isinstance(found, list) else ():
        name = line.get("id") if isinstance(line, dict) else None
        if isinstance(name, str) and _PLAIN.fullmatch(name):
            yield name


def _read(path: Path) -> Mapping[str, object]:
    """The file, or nothing: a check tells what is wrong, a half-typed word never."""
    try:
        if not path.is_file() or path.stat().st_size > _BYTES_AT_MOST:
            return {}
        return tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
