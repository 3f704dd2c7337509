"""What the machine's file says beside what was approved: the wire, keys, who is told.

Floor 7. One subject: reading it at a start. Laws here: without the broker and the keys
of the approved nodes nothing can be commanded, so whatever is wrong with them is
refused; what only tells and shows, or belongs to a machine that nobody approved yet, is
no reason not to dose what was approved.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.errors import InputError
from slackwater.outside.settings import (
    read_broker,
    read_home,
    read_metrics,
    read_node_keys,
    read_notify,
)
from slackwater.outside.settings.broker import KEY_FILE, SECOND_KEY_FILE
from slackwater.outside.wire import BrokerSettings, NotifySettings
from slackwater.service import logs

ReadT = TypeVar("ReadT")

_log: FilteringBoundLogger = structlog.get_logger()


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """The broker, the keys of nodes, and whom the daemon tells; None tells nobody."""

    broker: BrokerSettings
    keys: dict[str, bytes]
    second_keys: dict[str, bytes]
    notify: NotifySettings | None
    metrics_port: int | None


def read_beside(
    config: Path, credentials: Path | None, nodes: Collection[str] | None
) -> Beside:
    """Read it; `nodes` are those of the approved machine, None where there is none.

    Raises: InputError with what is wrong, if anything must be right: everything where
    nothing was approved, else the broker and the keys of these nodes.
    """
    strict = nodes is None
    broker = read_broker(config, credentials, with_home=False)
    return Beside(
        broker=replace(broker, home=_told("home", partial(read_home, config), strict)),
        keys=read_node_keys(config, credentials, KEY_FILE, nodes),
        second_keys=read_node_keys(config, credentials, SECOND_KEY_FILE, nodes),
        notify=_told("notify", partial(read_notify, config, credentials), strict),
        metrics_port=_told("metrics", partial(read_metrics, config), strict),
    )


def _told(
    table: str,
    read: Callable[[], ReadT | None],
    strict: bool,  # noqa: FBT001 -- said once, by the one who asks
) -> ReadT | None:
    """What a table says; one at fault is left out unless it is to be refused."""
    try:
        return read()
    except InputError as error:
        if strict:
            raise
        # Where it is wrong and not what was found: an address may hold a password.
        _log.warning(logs.SETTINGS_LEFT_OUT, table=table, where=error.findings[0].where)
        return None
