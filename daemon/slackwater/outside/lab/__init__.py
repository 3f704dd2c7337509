"""A laboratory's report becomes values, or one list of all that is wrong with it.

Floor 6. One subject: the doors of this package. Laws here: others use only what is
listed below; nothing here writes, and nothing half understood is handed on.
"""

from slackwater.outside.lab.replicates import LabValue
from slackwater.outside.lab.report import LabReport, Wishes, read_report

__all__ = ["LabReport", "LabValue", "Wishes", "read_report"]
