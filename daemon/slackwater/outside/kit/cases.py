"""What a node must take and what it must refuse, rule by rule.

Floor 6. One subject: the table of cases. Laws here: a case breaks the rule it names and
no earlier one, so its answer has one word; no case asks for more than the head's own
limits allow; a name never changes its meaning.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from slackwater.outside.kit.plate import FULL, RUN_FIELDS, At, Raw, Shape, Value

Situation = Literal["idle", "running", "held", "spent"]
# The rules of acceptance in the order in which they are asked, then what must happen.
RULES = (
    "retained",
    "form",
    "auth",
    "repeat",
    "boot",
    "fence",
    "number",
    "late",
    "busy",
    "held",
    "limit",
    "budget",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One command and its answer.

    `answer`: taken; refused; silent (no command can be told from it); quiet (not
    refused, whatever else is said). `may_be_silent`: where the bytes are so torn that a
    node need not find whom to refuse. `altered`: a field changed after signing.
    `signs`: only for nodes with a key, or only without; None for both.
    """

    name: str
    rule: str
    answer: Literal["taken", "refused", "silent", "quiet"]
    act: str = "run"
    situation: Situation = "idle"
    changes: Mapping[str, Value] = field(default_factory=dict)
    shape: Shape = field(default_factory=Shape)
    altered: str = ""
    signs: bool | None = None
    retained: bool = False
    may_be_silent: bool = False

    @property
    def reason(self) -> str:
        """The word of a refusal, empty for any other answer."""
        return self.rule if self.answer == "refused" else ""


def _wrong(rule: str, name: str, **changes: Value) -> Case:
    return Case(name=f"{rule}-{name}", rule=rule, answer="refused", changes=changes)


def _good(name: str, shape: Shape | None = None, **changes: Value) -> Case:
    shape = shape or Shape()
    return Case(
        name=f"good-{name}", rule="taken", answer="taken", changes=changes, shape=shape
    )


def _torn(name: str, shape: Shape) -> Case:
    return Case(
        name=f"form-{name}",
        rule="form",
        answer="refused",
        shape=shape,
        may_be_silent=True,
    )


# Values that are out of form for each field: wrong kind, range, alphabet or length.
_OUT_OF_FORM: Mapping[str, tuple[Value, ...]] = {
    "v": (0, 2, Raw("1.0"), True, "1", Raw("null")),
    "act": ("start", "RUN", 1),
    "boot": ("9e1b", "9E1B00000000000A", "9e1b0000000000001", 5),
    "n": (-1, Raw("0.0"), "0", True, 2**64, Raw("null"), Raw("1e0"), Raw("+1")),
    "fence": (-1, Raw("1.5"), "3", 2**64),
    "ul": (0, -5, 1_000_001, Raw("1e3"), "100", Raw("null"), Raw("{}"), Raw("[1]")),
    "ms": (0, -1, Raw("1.5"), "200"),
    "cut_ms": (0, At("ms", -1), Raw("1e9")),
    "until_up": (-1, 2**64, Raw("1e9"), "9"),
    "cal": ("77aa01c", "77AA01CF", "", Raw("null"), 77),
    "mac": ("0" * 63, "G" * 64, 0),
}
_FORBIDDEN: Mapping[str, Value] = {
    "at": "2026-05-03T14:00:00Z",
    "repeat": 2,
    "resume": True,
    "rate": 30,
    "x": "",
}
_OF_A_RUN: Mapping[str, Value] = {"n": 0, "boot": "0" * 16, "ul": 1_000}
_SILENT: Mapping[str, Value] = {"id": "5f0c", "chan": "A"}


def _form() -> Iterator[Case]:
    for name in RUN_FIELDS:
        missing = _wrong("form", f"without-{name}", **{name: None})
        yield _silent(missing) if name in _SILENT else missing
    for name, values in _OUT_OF_FORM.items():
        for number, value in enumerate(values, start=1):
            yield _wrong("form", f"{name}-{number}", **{name: value})
    for name, value in _FORBIDDEN.items():
        yield _wrong("form", f"with-{name}", **{name: value})
    for name, value in _SILENT.items():
        yield _silent(_wrong("form", f"{name}-out-of-form", **{name: value}))
    yield _wrong("form", "stranger", chan="nobody-has-this-name")
    for act in ("stop", "identify"):
        for name, field_value in _OF_A_RUN.items():
            yield Case(
                name=f"form-{act}-with-{name}",
                rule="form",
                answer="refused",
                act=act,
                changes={name: field_value},
            )
    yield from _structure()


def _structure() -> Iterator[Case]:
    """Bytes that are no flat object, or two objects at once."""
    edits = {
        "twice-ul": ('"ul":', '"ul":1,"ul":'),
        "twice-n": ('"n":', '"n":9,"n":'),
        "twice-id": ('"v":', '"id":"' + "0" * 32 + '","v":'),
        "no-comma": (',"boot"', ' "boot"'),
        "no-colon": ('"boot":', '"boot" '),
        "comma-at-the-end": ("}", ",}"),
        "nought-before": ('"n":', '"n":0'),
        "not-a-number": ('"fence":', '"fence":NaN,"x":'),
        "open": ("}", ""),
        "escape": ('"act":"run"', '"act":"r\\u0075n"'),
        "nested": ('"boot":', '"x":{},"boot":'),
        "comment": ("}", "/**/}"),
    }
    for name, edit in edits.items():
        yield _torn(name, Shape(edits=(edit,)))
    yield _torn("byte-no-text", Shape(edits=(('"act":"run"', '"act":"r\xffn"'),)))
    yield _torn("mark-before", Shape(before=b"\xef\xbb\xbf"))
    yield _torn("word-after", Shape(after=b"x"))
    yield _torn("two-objects", Shape(after=b"{}"))
    yield _torn("in-a-list", Shape(before=b"[", after=b"]"))
    yield _torn("one-byte-too-long", Shape(bytes_in_all=FULL + 1))
    yield _torn("sixteen-bits", Shape(encoding="utf-16"))
    for name, content in (("nothing", ""), ("a-word", "run"), ("null", "null")):
        yield _silent(_torn(name, Shape(instead=content.encode())))


def _silent(case: Case) -> Case:
    return Case(
        name=case.name,
        rule=case.rule,
        answer="silent",
        changes=case.changes,
        shape=case.shape,
    )


def _stale() -> Iterator[Case]:
    """Commands of another time, another daemon or another turn."""
    yield _wrong("boot", "other", boot="0" * 16)
    yield _wrong("boot", "before-fence", boot="0" * 16, fence=At("fence", -1))
    yield _wrong("boot", "before-number", boot="0" * 16, n=At("n", 1))
    yield _wrong("boot", "before-late", boot="0" * 16, until_up=0)
    yield _wrong("fence", "one-lower", fence=At("fence", -1))
    yield _wrong("fence", "nought", fence=0)
    yield _wrong("fence", "before-number", fence=At("fence", -1), n=At("n", 1))
    yield _wrong("fence", "before-late", fence=At("fence", -1), until_up=0)
    yield _wrong("number", "one-behind", n=At("n", -1))
    yield _wrong("number", "one-ahead", n=At("n", 1))
    yield _wrong("number", "nought", n=0)
    yield _wrong("number", "far-ahead", n=2**53 - 1)
    yield _wrong("number", "before-late", n=At("n", 1), until_up=0)
    yield _wrong("number", "before-limit", n=At("n", 1), cut_ms=At("max_cut", 1))
    yield _wrong("late", "at-once", until_up=At("up", -1_000))
    yield _wrong("late", "long-ago", until_up=1)
    yield _wrong("late", "nought", until_up=0)
    yield _wrong("late", "before-limit", until_up=0, cut_ms=At("max_cut", 1))


def _beyond() -> Iterator[Case]:
    """More than the head allows, by one of its own units where that can be."""
    more = At("max_ul", 1)
    yield _wrong("limit", "amount", ul=more, ms=At("over_ms"), cut_ms=At("over_ms"))
    yield _wrong("limit", "a-litre", ul=10**6, ms=At("max_ms"), cut_ms=At("max_ms"))
    longer = At("max_ms", 1)
    yield _wrong("limit", "time", ul=At("over_ul"), ms=longer, cut_ms=longer)
    yield _wrong("limit", "cut", cut_ms=At("max_cut", 1))
    yield _wrong("limit", "cut-for-ever", cut_ms=2**62)
    yield _wrong("limit", "below-half-the-rate", ul=At("half", -1))
    yield _wrong("limit", "above-double-the-rate", ul=At("double", 1))
    yield _wrong("limit", "ten-times-the-rate", ul=At("max_ul"), ms=1, cut_ms=1)


def _in_the_way() -> Iterator[Case]:
    """Good commands at the wrong moment; earlier rules still answer first."""
    moments: tuple[tuple[Situation, str], ...] = (
        ("running", "busy"),
        ("held", "held"),
        ("spent", "budget"),
    )
    for situation, rule in moments:
        large = {"ul": At("long_ul"), "ms": At("long_ms"), "cut_ms": At("long_ms")}
        changes: Mapping[str, Value] = large if rule == "budget" else {}
        for name, further in (
            ("plain", {}),
            ("newer-fence", {"fence": At("fence", 1)}),
            ("far-deadline", {"until_up": At("up", 30_000)}),
        ):
            yield Case(
                name=f"{rule}-{name}",
                rule=rule,
                answer="refused",
                situation=situation,
                changes={**changes, **further},
            )
        yield Case(
            name=f"number-before-{rule}",
            rule="number",
            answer="refused",
            situation=situation,
            changes={**changes, "n": At("n", 1)},
        )


def _forged() -> Iterator[Case]:
    """Commands whose code is missing or is not theirs, and codes nobody can check."""
    noughts: Mapping[str, Value] = {"mac": "0" * 64}
    for name, changes, signs in (
        ("none", {"mac": None}, True),
        ("noughts", noughts, True),
        ("before-boot", {**noughts, "boot": "0" * 16}, True),
        ("nobody-can-check", noughts, False),
        ("nobody-can-check-before-boot", {**noughts, "boot": "0" * 16}, False),
    ):
        yield Case(
            name=f"auth-{name}",
            rule="auth",
            answer="refused",
            changes=changes,
            signs=signs,
        )
    for name in RUN_FIELDS[4:]:
        yield Case(
            name=f"auth-{name}-changed",
            rule="auth",
            answer="refused",
            altered=name,
            signs=True,
        )


def _kept() -> Iterator[Case]:
    """What the broker kept for the node: refused before anything else is read."""
    for act in ("run", "stop", "identify"):
        yield Case(
            name=f"retained-{act}",
            rule="retained",
            answer="refused",
            act=act,
            retained=True,
        )
    yield Case(
        name="retained-before-boot",
        rule="retained",
        answer="refused",
        changes={"boot": "0" * 16},
        retained=True,
    )


def _taken() -> Iterator[Case]:
    """Commands nothing is wrong with, up to the last good figure."""
    yield _good("plain")
    yield _good("half-the-rate", ul=At("half"))
    yield _good("double-the-rate", ul=At("double"))
    yield _good("longest-cut", cut_ms=At("max_cut"))
    yield _good("deadline-far", until_up=At("up", 30_000))
    yield _good("deadline-at-the-end", until_up=2**53 - 1)
    yield _good("calibration-noughts", cal="0" * 8)
    yield _good("calibration-letters", cal="ffffffff")
    yield _good(
        "largest-amount", ul=At("long_ul"), ms=At("long_ms"), cut_ms=At("long_ms")
    )
    yield _good("fence-one-higher", fence=At("fence", 1))
    yield _good("fence-again")
    yield _good("fence-much-higher", fence=At("fence", 60))
    for turn in range(1, len(RUN_FIELDS)):
        yield _good(f"order-{turn}", Shape(turn=turn))
    for number, blanks in enumerate((" ", "\t", "\n", "\r\n", "  \n"), start=1):
        yield _good(f"blanks-{number}", Shape(blanks=blanks))
    yield _good("blank-before", Shape(before=b" \n"))
    yield _good("blank-after", Shape(after=b"\r\n"))
    yield _good("full-kibibyte", Shape(bytes_in_all=FULL))
    for act in ("stop", "identify"):
        for number, blanks in enumerate(("", " ", "\n"), start=1):
            yield _quiet(f"{act}-{number}", act, Shape(blanks=blanks))
            yield _quiet(f"{act}-all-{number}", act, Shape(blanks=blanks), chan=None)


def _quiet(name: str, act: str, shape: Shape, **changes: Value) -> Case:
    return Case(
        name=f"good-{name}",
        rule="taken",
        answer="quiet",
        act=act,
        changes=changes,
        shape=shape,
    )


CASES: tuple[Case, ...] = (
    *_taken(),
    *_form(),
    *_stale(),
    *_beyond(),
    *_forged(),
    *_in_the_way(),
    *_kept(),
)
