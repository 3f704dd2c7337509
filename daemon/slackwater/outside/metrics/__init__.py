"""Figures for a monitoring system that asks for them, on this machine alone.

Floor 6. One subject: what others need of this room. Laws here: the package that speaks
to monitoring systems is loaded when somebody asks for a listener, for it is an extra;
without it nothing is served and everything else goes on.
"""

from importlib import import_module

from slackwater.outside.metrics.figures import Family, Listener, Sample, Type

__all__ = ["Family", "Listener", "Sample", "Type", "listener_on"]

_LIBRARY = "slackwater.outside.metrics.listener"


def listener_on(port: int) -> Listener:
    """A listener for this port of the loopback; it does not listen yet.

    Raises: ModuleNotFoundError where `prometheus-client` is not installed.
    """
    made: Listener = import_module(_LIBRARY).HttpListener(port)
    return made
