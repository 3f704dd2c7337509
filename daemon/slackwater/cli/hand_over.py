"""What the installer hands to the service: its secrets, made where they are missing.

Floor 8. One subject: `python -m slackwater.cli.hand_over CONFIG FOLDER PLACE`, asked by
`systemd/install`. Laws here: each secret belongs to root alone, and the unit's drop-in
names it; the password for commands is in no drop-in but that of `slackwater enable`; a
file that is there keeps its content; nothing is written while anything is wrong.
"""

import os
import secrets
import sys
from collections.abc import Sequence
from pathlib import Path

from slackwater.cli.document import WRONG, finding_text
from slackwater.cli.drop_in import write_drop_in
from slackwater.errors import Finding, InputError, SlackwaterError
from slackwater.outside.settings.secret_files import SecretFile, secret_files

NAME = "credentials.conf"
_HEAD = """\
# Written by systemd/install; run it again when a file of secrets comes or goes.
# The service gets a copy of each that nobody else can read, and the files themselves
# belong to root alone.
[Service]
"""
# As long as the key of a node (RFC 2104); for a password far beyond guessing.
_SECRET_BYTES = 32
_DO = "Run systemd/install as root. The units were not touched."


def hand_over(config: Path, folder: Path, place: Path) -> tuple[str, ...]:
    """Make what is missing, close what is there, write the drop-in.

    `folder` is that of the unit's drop-ins, `place` where the service will find
    `config`. Returns what a person should be told, a line each, none of it secret.
    Raises: InputError when a file cannot be made here; RefusedError when `folder`
    cannot be written.
    """
    files = secret_files(config)
    _refuse_lacking(files)
    told = tuple(_made(one) for one in files if not one.path.exists())
    for one in files:
        _close(one)
    lines = (_line(one, config, place) for one in files if one.at_once)
    write_drop_in(folder, _HEAD + "".join(lines), NAME, _DO)
    return told


def main(words: Sequence[str]) -> int:
    """Do it for the installer; 2 with errors on standard error when it cannot."""
    try:
        for line in hand_over(*(Path(word) for word in words)):
            sys.stdout.write(f"  {line}\n")
    except SlackwaterError as error:
        for finding in error.findings:
            sys.stderr.write(f"error: {finding_text(finding)}\n")
        return WRONG
    return 0


def _refuse_lacking(files: Sequence[SecretFile]) -> None:
    lacking = [
        Finding(
            what=f"{one.path} is not there",
            where=f"slackwater.toml {one.setting}",
            expected="the file: it is made elsewhere, and nothing here can make it",
            do="Put it there, or take the line out, and run this again.",
        )
        for one in files
        if one.kind == "made elsewhere" and not one.path.exists()
    ]
    if lacking:
        raise InputError(lacking)


def _made(one: SecretFile) -> str:
    text = secrets.token_hex(_SECRET_BYTES)
    try:
        # Nobody can read it, not even for the moment before it is closed.
        one.path.touch(mode=0o600, exist_ok=False)
        one.path.write_text(f"{text}\n", "ascii")
    except OSError as error:
        raise InputError(_unusable(one, error)) from error
    whom = "node" if one.kind == "key" else "broker"
    return (
        f"Made a {one.kind} for {one.setting}: give the {whom} what {one.path} holds."
    )


def _close(one: SecretFile) -> None:
    try:
        one.path.chmod(0o600)
        if os.geteuid() == 0:
            os.chown(one.path, 0, 0)
    except OSError as error:
        raise InputError(_unusable(one, error)) from error


def _unusable(one: SecretFile, error: OSError) -> Finding:
    return Finding(
        what=f"{one.path} cannot be made or closed ({os.strerror(error.errno or 0)})",
        where=f"slackwater.toml {one.setting}",
        expected="a file that belongs to whoever installs",
        do=_DO,
    )


def _line(one: SecretFile, config: Path, place: Path) -> str:
    inside = one.path.is_relative_to(config)
    path = place / one.path.relative_to(config) if inside else one.path
    # The manager reads % as the beginning of a word of its own.
    return f"LoadCredential={one.name}:{path}\n".replace("%", "%%")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
