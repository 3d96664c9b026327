"""Which vessel, and which side of it, a label or a name refers to."""

from collections.abc import Iterator

from calibration import BACK_SUFFIX, Side, back_label, vessel_and_side
from vision.records import PhotoContext, VesselSpec, kind_of


class ExpectedLabels:
    """Texts that labels may carry: ids, and the ids of backs for vessels with the label on their face.

    Generated only when iterated: for thousands of vessels that takes longer than decoding clear labels.
    """

    def __init__(self, context: PhotoContext) -> None:
        self._context = context

    def __iter__(self) -> Iterator[str]:
        yield from self._context.vessels
        for one in self._context.vessels.values():
            if kind_of(one).label_place == "on_face" and (back := back_label(one.id)):
                yield back


def spec_of(text: str, context: PhotoContext) -> tuple[VesselSpec | None, Side]:
    """The vessel and side that a label, region or name refers to; None if the vessel is not known.

    If no vessel is known and the context names a kind, every label is a vessel of that kind.
    """
    vessel, side = vessel_and_side(text, context.vessels)
    if not context.vessels and context.kind is not None:
        return VesselSpec(vessel, context.kind), side
    return context.vessels.get(vessel), side


def unknown_label_reason(text: str, context: PhotoContext) -> str:
    """Why a label matches no vessel; if only its suffix is wrong, how the label of the back is written."""
    stem = text.rpartition("/")[0]
    if stem in context.vessels:
        return f"label {text} belongs to no vessel in the list; that of the back of {stem} is {stem}{BACK_SUFFIX}"
    return f"label {text} belongs to no vessel in the list: add it, or remove the label"
