"""`run`: the daemon in the foreground.

Floor 8. One subject: starting the service. Laws here: shadow until pumps are enabled;
credentials come from the service manager's directory when there is one.
"""

import os
from pathlib import Path

import click

from slackwater.cli.document import Answer
from slackwater.cli.shell import Shell, verb
from slackwater.service.run import main
from slackwater.service.wiring import Places


@verb(
    "run",
    epilog="This can move liquid once pumps are enabled. Wear eye protection when you "
    "handle stock solutions, keep outlets above the water line, keep children away.",
)
@click.option(
    "--credentials",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    metavar="DIR",
    help="Directory of passwords and keys.  [default: the service manager's]",
)
def run(shell: Shell, credentials: Path | None) -> Answer:
    """Run the daemon, in shadow until enabled.

    It only computes until a person says `slackwater enable`, and runs until it is
    told to stop.
    """
    handed = os.environ.get("CREDENTIALS_DIRECTORY")
    places = Places(
        config=shell.config,
        state=shell.state,
        credentials=credentials or (Path(handed) if handed else None),
    )
    return Answer(raw=(), exit_code=main(places))
