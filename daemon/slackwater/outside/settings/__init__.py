"""Configuration files become records, with every error told at once.

Floor 6. One subject: the doors of this package. Laws here: others use only what is
listed below; the models are the only source of defaults, bounds and reference text.
"""

from slackwater.outside.settings.broker import read_broker, read_node_keys
from slackwater.outside.settings.documents import file_digests
from slackwater.outside.settings.home import read_home
from slackwater.outside.settings.machine import (
    MachineDraft,
    draft_machine,
    read_machine,
)
from slackwater.outside.settings.metrics import read_metrics
from slackwater.outside.settings.notify import read_notify
from slackwater.outside.settings.plan import (
    PlanDraft,
    draft_plan,
    part_of,
    read_plan,
)
from slackwater.outside.settings.reference import reference

__all__ = [
    "MachineDraft",
    "PlanDraft",
    "draft_machine",
    "draft_plan",
    "file_digests",
    "part_of",
    "read_broker",
    "read_home",
    "read_machine",
    "read_metrics",
    "read_node_keys",
    "read_notify",
    "read_plan",
    "reference",
]
