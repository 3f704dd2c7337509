"""Packages that a table of the file needs and that are not installed.

Floor 8. One subject: extras. Laws here: nothing is loaded to find out; what is missing
keeps no dose from being given, so it is a caution and no error.
"""

from collections.abc import Callable, Iterator, Mapping
from importlib.util import find_spec
from pathlib import Path

from slackwater.errors import Finding
from slackwater.outside.settings.documents import MACHINE_FILE, read_document

# By the name of table and extra: the package, and what does not happen without it.
_NEEDS: Mapping[str, tuple[str, str]] = {
    "metrics": ("prometheus_client", "no figures are served"),
    "notify": ("apprise", "no message is sent"),
}


def is_installed(package: str) -> bool:
    """Whether a package could be loaded here."""
    return find_spec(package) is not None


def lacking(
    config: Path, is_there: Callable[[str], bool] = is_installed
) -> Iterator[Finding]:
    """A caution for each table whose package is not there.

    Raises: InputError when the file cannot be read.
    """
    document = read_document(config, MACHINE_FILE)
    for table, (package, without) in _NEEDS.items():
        if table in document and not is_there(package):
            yield Finding(
                what=f"the package {package.replace('_', '-')} is not installed",
                where=f"{MACHINE_FILE}, [{table}]",
                expected=f"the package that this table needs; without it {without}",
                do=f"Install it, for example with pip install '.[{table}]', or take "
                "the table out.",
            )
