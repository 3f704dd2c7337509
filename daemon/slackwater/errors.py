"""Every error Slackwater raises on purpose, in one tree.

Floor 0. One subject: what went wrong, said so that a person can mend it.

    SlackwaterError               exit code
    ├── InputError                2   a file, an argument or an answer is wrong
    │   └── OutOfRangeError       2   a number is outside what a formula allows
    ├── RefusedError              1   understood, and not allowed now
    ├── LedgerError               2   the memory cannot be trusted or reached
    │   ├── LedgerMissingError    2   no ledger where one was expected
    │   ├── LedgerBusyError       2   another process holds the write lock
    │   ├── LedgerMovedError      2   somebody appended first: decide anew
    │   ├── LedgerStorageError    2   the disk refused or half did it
    │   └── LedgerDamagedError    2   the chain, header or schema is wrong
    └── WireError                 2   the broker cannot be used
        └── NotConnectedError     2   nothing is sent while offline

Laws here: an error names what was found, where, what was expected and what to do.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is wrong, in the four words every face prints."""

    what: str
    where: str
    expected: str
    do: str

    def __str__(self) -> str:
        """Give the finding as one line for people."""
        return (
            f"{self.where}: {self.what}; expected {self.expected}. {self.do}"
            if self.where
            else f"{self.what}; expected {self.expected}. {self.do}"
        )


class SlackwaterError(Exception):
    """Any error raised on purpose; carries findings and the exit code."""

    exit_code = 2

    def __init__(self, findings: Finding | Iterable[Finding]) -> None:
        """Keep the findings in the order given; there is at least one."""
        found = (findings,) if isinstance(findings, Finding) else tuple(findings)
        if not found:
            message = "an error needs at least one finding"
            raise ValueError(message)
        self.findings: tuple[Finding, ...] = found
        super().__init__("\n".join(str(finding) for finding in found))

    def __reduce__(self) -> tuple[object, ...]:
        """How it goes to another process: by its findings, not by its text."""
        return type(self), (self.findings,), self.__dict__


class InputError(SlackwaterError):
    """A file, argument, answer or payload is not what it must be."""


class OutOfRangeError(InputError):
    """A number lies outside the range a formula or a machine allows."""


class RefusedError(SlackwaterError):
    """The request is understood and is not allowed now."""

    exit_code = 1


class LedgerError(SlackwaterError):
    """The ledger cannot be trusted or cannot be reached."""


class LedgerMissingError(LedgerError):
    """There is no ledger where one was expected."""


class LedgerBusyError(LedgerError):
    """Another process kept the write lock too long."""


class LedgerMovedError(LedgerError):
    """The chain head is not the one the decision was made on."""


class LedgerStorageError(LedgerError):
    """The disk refused a write or a sync, or may have done half of it."""


class LedgerDamagedError(LedgerError):
    """Header, schema, journal mode or hash chain is not as it must be."""


class WireError(SlackwaterError):
    """The broker refused, vanished or cannot be used."""


class NotConnectedError(WireError):
    """Nothing is sent while the link is not proven up."""
