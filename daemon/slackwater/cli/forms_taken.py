"""What a bare unit was taken as, where a kit may count another form of the element.

Floor 8. One subject: a factor of three or four that nobody sees. Laws here: told once
for a kit, not with each of its tests; what was typed stands until a person corrects it.
"""

from collections.abc import Iterator, Sequence

from slackwater.facts.waters import MeasurementKept
from slackwater.water.spellings import forms_of


def form_lines(
    kept: Sequence[MeasurementKept], known: Sequence[MeasurementKept | None]
) -> Iterator[str]:
    """A sentence for each value whose kit was not asked about before.

    Shape: `known` has what was known before of each of `kept`, in its order.
    """
    for one, was in zip(kept, known, strict=True):
        forms = forms_of(one.parameter)
        if not forms or _names_one(one, forms) or _is_usual(one, was):
            continue
        usual, *others = forms
        mended = f'{one.parameter}="{one.typed} {others[0]}"'
        yield (
            f"{one.typed} was taken as {usual}. If the kit counts "
            f"{' or '.join(others)}: slackwater record {mended} --correct {one.id}"
        )


def _names_one(one: MeasurementKept, forms: Sequence[str]) -> bool:
    return one.typed.endswith(tuple(f" {form}" for form in forms))


def _is_usual(one: MeasurementKept, was: MeasurementKept | None) -> bool:
    """Whether the test before was by the same kit, which was told of then."""
    told = (one.provenance, one.method)
    return was is not None and (was.provenance, was.method) == told
