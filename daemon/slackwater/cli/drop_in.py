"""The drop-in of the unit: the one place that hands the daemon the word for commands.

Floor 8. One subject: a file of the service manager. Laws here: without it the service
cannot read the password of the identity that commands pumps; it names files and holds
no secret; it is written whole or not at all.
"""

import os
from contextlib import suppress
from pathlib import Path

from slackwater.cli.shell import CONFIG, Shell
from slackwater.errors import Finding, RefusedError
from slackwater.outside.settings import read_broker

UNIT = "slackwater.service"
# Where a service manager looks for what adds to this unit (systemd.unit(5)).
FOLDER = Path("/etc/systemd/system") / f"{UNIT}.d"
NAME = "actuate.conf"
RELOAD = "systemctl daemon-reload && systemctl restart slackwater"

_DO = (
    "Nothing was enabled. Run `slackwater enable` as root, or name the place with "
    "--drop-in DIR."
)

_TEXT = """\
# Written by `slackwater enable`; `slackwater disable` takes it away.
# Only with it can the service read the password of the identity that commands pumps:
# let that file belong to root alone (mode 0600).
[Service]
LoadCredential={name}:{path}
"""


def wanted_folder(shell: Shell, asked: Path | None) -> Path | None:
    """Where the drop-in belongs; None where no unit of ours reads this configuration.

    The unit reads the usual directory: any other is run by hand, or by a unit whose
    place must be named.
    """
    if asked is not None:
        return asked
    return FOLDER if shell.config == CONFIG else None


def drop_in_text(config: Path) -> str | None:
    """The text of the drop-in; None where commands need no password.

    Raises: InputError with what is wrong in the machine's file.
    """
    password = read_broker(config).actuate_password
    if password is None:
        return None
    return _TEXT.format(name=password.name, path=password.absolute())


def write_drop_in(folder: Path, text: str, name: str = NAME, do: str = _DO) -> Path:
    """Put it in its place, whole; another one there is replaced.

    Raises: RefusedError when this user may not, with what to do instead.
    """
    path, draft = folder / name, folder / f".{name}.draft"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        draft.write_text(text, "utf-8")
        draft.replace(path)
    except OSError as error:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
        raise RefusedError(_unwritable(path, error, do)) from error
    return path


def remove_drop_in(folder: Path) -> bool | None:
    """Take it away; False when there is none, None when this user may not."""
    try:
        (folder / NAME).unlink()
    except FileNotFoundError:
        return False
    except OSError:
        return None
    return True


def _unwritable(path: Path, error: OSError, do: str) -> Finding:
    return Finding(
        what=f"the drop-in cannot be written ({os.strerror(error.errno or 0)})",
        where=str(path),
        expected="a place this user may write to: with it the service gets a "
        "password or key",
        do=do,
    )
