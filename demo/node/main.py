"""Fits the node to one board; copy it to the top of the device and change what is here.

Invented throughout: pins, names, rates and limits are of no real device. Read
`WIRING.md` before anything is joined to a pump.
"""

import os
import socket
import time

import machine  # type: ignore[import-not-found]  # of the device
import network  # type: ignore[import-not-found]  # of the device

from node.board import Board, Outputs, Uptime  # type: ignore[import-not-found]  # idem
from node.mqtt import Session  # type: ignore[import-not-found]  # the folder, copied
from node.node import Node  # type: ignore[import-not-found]  # the folder, copied

HARDWARE = "shelf-board-1"
PLACE = "slackwater/1/home/node/shelf"
BROKER = ("192.0.2.10", 1883)
LOGIN = ("shelf", "a long invented word")
NET = ("an invented network", "another long word")
KEY = b""  # 32 bytes, the same as the daemon's, where commands are signed
SECOND_KEY = b""  # while keys are changed: commands under this one count as well
# What a pump gives at full power, and the most it may ever do: set here, raised
# nowhere else. The day limit covers the largest single dose within an hour of a reboot.
LIMITS = {
    "nominal_ul_per_min": 30_000,
    "max_ul": 5_000,
    "max_ms": 20_000,
    "max_cut_ms": 25_000,
    "day_ul": 120_000,
}
PINS = {"a": 16, "b": 17}
LEAK_PIN = 18
WATCHDOG_MS = 8_000
CONNECT_S = 2

pins = {
    chan: machine.Pin(number, machine.Pin.OUT, value=0) for chan, number in PINS.items()
}
timers = {chan: machine.Timer(-1) for chan in PINS}
leak = machine.Pin(LEAK_PIN, machine.Pin.IN, machine.Pin.PULL_UP)


def switch(chan: str, on: bool) -> None:  # noqa: FBT001  # a pin is on or off
    """Sets the pin of one pump driver."""
    pins[chan].value(int(on))


def arm(chan: str, left_ms: int) -> None:
    """Lets a timer drop the pin by interrupt, whatever the loop does."""
    timers[chan].init(
        mode=machine.Timer.ONE_SHOT,
        period=left_ms,
        callback=lambda _: pins[chan].value(0),
    )


def connect() -> socket.socket:
    """Gives a connected socket that does not wait; OSError when there is none."""
    net = network.WLAN(network.STA_IF)
    if not net.isconnected():
        net.active(True)  # noqa: FBT003  # the library's own way
        net.connect(*NET)
        raise OSError
    opened = socket.socket()
    opened.settimeout(CONNECT_S)
    opened.connect(socket.getaddrinfo(*BROKER)[0][-1])
    opened.setblocking(False)  # noqa: FBT003  # the library's own way
    return opened


outputs = Outputs(list(PINS), switch, arm)
boot = "".join([f"{byte:02x}" for byte in os.urandom(8)])
node = Node(HARDWARE, boot, dict.fromkeys(PINS, LIMITS), KEY)
if SECOND_KEY:
    node.keys.append(SECOND_KEY)
session = Session("node-shelf", (PLACE + "/state", b'{"state":"offline","v":1}'))
uptime = Uptime(time.ticks_ms, 1 << 30)  # type: ignore[attr-defined]  # of the device
board = Board(node, outputs, uptime, session, connect)
board.login = LOGIN
# Closed to ground when dry: water opens it, and so does a wire that came off.
board.inputs = {"leak": lambda: leak.value() == 1}
watchdog = machine.WDT(timeout=WATCHDOG_MS)
while True:
    board.step()
    watchdog.feed()
    time.sleep_ms(2)  # type: ignore[attr-defined]  # of the device
