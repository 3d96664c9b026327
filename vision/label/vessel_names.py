"""Which vessel, and which side of it, a label or a name speaks of."""

from collections.abc import Iterator

from calibration import BACK_SUFFIX, Side, back_label, vessel_and_side
from vision.records import PhotoContext, VesselSpec, kind_of


class ExpectedLabels:
    """What may stand on labels: ids, and those of backs where the label sticks to the face.

    Made only when somebody looks through them: of thousands of vessels that takes longer than reading clear labels.
    """

    def __init__(self, context: PhotoContext) -> None:
        self._context = context

    def __iter__(self) -> Iterator[str]:
        yield from self._context.vessels
        for one in self._context.vessels.values():
            if kind_of(one).label_place == "on_face" and (back := back_label(one.id)):
                yield back


def spec_of(text: str, context: PhotoContext) -> tuple[VesselSpec | None, Side]:
    """The vessel that a label, a region or a name speaks of, and the side of it; None for one that is not known.

    Where no vessel is known and a kind was named, any label is a vessel of that kind.
    """
    vessel, side = vessel_and_side(text, context.vessels)
    if not context.vessels and context.kind is not None:
        return VesselSpec(vessel, context.kind), side
    return context.vessels.get(vessel), side


def unknown_label(text: str, context: PhotoContext) -> str:
    """Why a label is nobody's; where it begins like a vessel's, how the label of its back is written."""
    stem = text.rpartition("/")[0]
    if stem in context.vessels:
        return f"label {text} belongs to no vessel in the list; that of the back of {stem} is {stem}{BACK_SUFFIX}"
    return f"label {text} belongs to no vessel in the list: add it, or remove the label"
