"""What a verb answers, and the one JSON document it becomes.

Floor 8. One subject: the shape of answers. Laws here: text and document come from the
same answer; a failure is a document of the same shape; nothing here loads what help
does not need.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from slackwater.errors import Finding, SlackwaterError
from slackwater.facts.reasons import Reason

VERSION = 1
FINE = 0
REFUSED = 1
WRONG = 2


Encode = Callable[[Mapping[str, object]], str]


def _encoded(document: Mapping[str, object]) -> str:
    return json.dumps(document, ensure_ascii=False, allow_nan=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came of a verb.

    `fields` are the document's own keys; `text` is what people read; `raw` replaces
    `text` with pieces printed as they are. `findings` are told in both; `is_told` says
    that the text holds them already. `encode` writes the document down.
    """

    fields: Mapping[str, object] = field(default_factory=dict)
    text: str = ""
    raw: Iterable[str] | None = None
    findings: Sequence[Finding] = ()
    is_told: bool = False
    exit_code: int = FINE
    encode: Encode = _encoded


def document_text(command: str, answer: Answer) -> str:
    """The answer as one line of JSON.

    Raises: ValueError when a figure is not finite.
    """
    document = {
        "v": VERSION,
        "command": command,
        "ok": answer.exit_code == FINE,
        "errors": [finding_document(finding) for finding in answer.findings],
        **answer.fields,
    }
    return answer.encode(document)


def failed(error: SlackwaterError) -> Answer:
    """The answer for an error raised on purpose."""
    return Answer(findings=error.findings, exit_code=error.exit_code)


def finding_document(finding: Finding) -> dict[str, str]:
    """A finding in the words of every face."""
    return {
        "what": finding.what,
        "where": finding.where,
        "expected": finding.expected,
        "do": finding.do,
    }


def finding_text(finding: Finding) -> str:
    """A finding on four lines for people."""
    where = finding.where or "slackwater"
    # The label says it already.
    what = finding.what.removeprefix("found ")
    return (
        f"{where}\n  found     {what}\n  expected  {finding.expected}\n"
        f"  do        {finding.do}"
    )


def reason_document(reason: Reason) -> dict[str, object]:
    """A reason in the words of every face."""
    return {
        "code": str(reason.code),
        "text": reason.text,
        "figures": dict(reason.figures),
    }
