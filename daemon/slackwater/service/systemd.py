"""Telling systemd that we are ready, alive and stopping.

Floor 7. One subject: the notification socket. Laws here: without a service manager
nothing happens; the watchdog is fed from the decision loop after a full pass and
from nowhere else.
Source: sd_notify(3), the datagram protocol on NOTIFY_SOCKET.
"""

import os
import socket


def notify(message: str) -> None:
    """Send one state line; silent when there is no service manager to hear it."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or address[0] not in "/@":
        return
    # A leading @ is how the environment writes an abstract address.
    path = "\0" + address[1:] if address[0] == "@" else address
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.settimeout(0.0)
        try:
            channel.connect(path)
            channel.send(message.encode())
        except OSError:
            # Being heard is a convenience; a decision never waits for it, not even
            # for a manager that does not empty its queue.
            return


def ready() -> None:
    """Say that the daemon decides from now on."""
    notify("READY=1")


def alive(status: str) -> None:
    """Feed the watchdog and show one line of status."""
    notify(f"WATCHDOG=1\nSTATUS={status}")


def stopping() -> None:
    """Say that the daemon is on its way out."""
    notify("STOPPING=1")
