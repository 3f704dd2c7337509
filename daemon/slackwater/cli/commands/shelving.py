"""`manual` and `completion`: two texts that a system keeps beside its programs.

Floor 8. One subject: printing what a person puts on a shelf once. Laws here: nothing is
written and no file is read; no line is broken to fit a screen, for programs read them.
"""

import click

from slackwater.cli.completing import script_for
from slackwater.cli.document import Answer
from slackwater.cli.manual import page_of
from slackwater.cli.shell import Shell, verb


@verb(
    "manual",
    epilog="Example: slackwater manual > ~/.local/share/man/man1/slackwater.1, then "
    "man slackwater. The installer in systemd/ puts one where everybody finds it.",
)
@click.pass_context
def manual(context: click.Context, shell: Shell) -> Answer:
    """Print the manual page of the program.

    One page with every verb, made of the same texts as their help, in the form that
    man reads.
    """
    text = page_of(context.find_root().command)
    return Answer(fields={"page": text}, raw=None if shell.json else (text,))


@verb(
    "completion",
    epilog='Put eval "$(slackwater completion bash)" into ~/.bashrc, the same with zsh '
    "into ~/.zshrc, or slackwater completion fish | source into "
    "~/.config/fish/config.fish; it counts from the next shell on. The installer in "
    "systemd/ does it for everybody.",
)
@click.argument("name", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def completion(context: click.Context, shell: Shell, name: str) -> Answer:
    """Print what makes a shell complete words.

    Verbs, options, and the names of tanks, pumps, reservoirs, nodes, probes and lines
    in the two files, as far as you may read these.
    """
    text = script_for(context.find_root().command, name)
    return Answer(
        fields={"shell": name, "script": text}, raw=None if shell.json else (text,)
    )
