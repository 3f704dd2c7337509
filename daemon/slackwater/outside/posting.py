"""A process of its own that sends one message, and ends.

Floor 6. One subject: handing one message to the package that knows mail, chat and
phones. Laws here: it is started by path and knows nothing of the daemon, so that
neither its memory nor its faults are the daemon's; addresses are read here and nowhere
else, and nothing here prints one.
"""

import json
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Protocol

# How it ends; 1 is what the interpreter itself ends with.
DELIVERED, NOT_DELIVERED, NO_PACKAGE, NO_ADDRESS, NO_MESSAGE = 0, 3, 4, 5, 6
# Some addresses took it and others did not: sent again it would come twice to some.
PARTLY = 7
# An address is a line; more than this is not a list of a household.
ADDRESSES_AT_MOST = 32
PACKAGE = "apprise"


class Sender(Protocol):
    """What we use of the package: addresses in, one message out."""

    def add(self, address: str) -> bool:
        """Take an address; False when it is none."""

    def notify(self, body: str, title: str) -> object:
        """Send to every address; truthy when all took it."""


def addresses_in(text: str) -> list[str]:
    """The addresses of a file: one a line, `#` begins a comment."""
    lines = (line.strip() for line in text.splitlines())
    return [line for line in lines if line and not line.startswith("#")]


def send(
    sender: Callable[[], Sender], addresses: list[str], message: dict[str, str]
) -> int:
    """Send one message to all addresses; says how it ended.

    `sender` makes one for each address, so that each is known to have taken it or not.
    """
    if not addresses or len(addresses) > ADDRESSES_AT_MOST:
        return NO_ADDRESS
    known = [one for address in addresses if (one := sender()).add(address)]
    if not known:
        return NO_ADDRESS
    # Every address is tried, also when one before it takes nothing.
    took = [
        bool(one.notify(body=message["body"], title=message["title"])) for one in known
    ]
    if not any(took):
        return NOT_DELIVERED
    return DELIVERED if sum(took) == len(addresses) else PARTLY


def main(path: str) -> int:
    """One message from standard input to the addresses in a file."""
    try:
        message = json.loads(sys.stdin.read())
        addresses = addresses_in(Path(path).read_text("utf-8"))
    except (OSError, UnicodeDecodeError):
        return NO_ADDRESS
    except ValueError:
        return NO_MESSAGE
    try:
        package = import_module(PACKAGE)
    except ImportError:
        return NO_PACKAGE
    sender: Callable[[], Sender] = package.Apprise
    return send(sender, addresses, message)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
