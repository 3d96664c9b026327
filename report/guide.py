"""The photo guide: numbers computed from the label's geometry and the camera's resolution and focal length."""

from dataclasses import dataclass
from math import floor, hypot, radians, sin

from calibration import LABELS, READABLE_PX_PER_MODULE, LabelSize, VesselKind, vessel_kinds
from farm.store import MM_AN_INCH, Units

#: The diagonal of the 36 x 24 mm frame that a "35 mm equivalent" focal length refers to (CIPA DCG-001), mm.
_DIAGONAL_35MM = hypot(36.0, 24.0)
#: Share of the frame that is used, to allow for imprecise framing.
_ROOM = 0.95
#: Gap between two vessels on the shelf, mm (common practice, no source).
_BETWEEN_MM = 40.0
_TILT_DEGREES = 5.0
MM_A_FOOT = 12 * MM_AN_INCH


@dataclass(frozen=True)
class Camera:
    """A camera: pixels of a landscape picture, and the focal length as 35 mm equivalent.

    The default is a phone's main camera of 12 megapixels (common practice, no source).
    """

    width_px: int = 4000
    height_px: int = 3000
    focal_35mm: float = 26.0

    @property
    def width_per_distance(self) -> float:
        """Width of the view per unit of distance."""
        return _DIAGONAL_35MM * self.width_px / hypot(self.width_px, self.height_px) / self.focal_35mm


@dataclass(frozen=True)
class View:
    """A view of the shelf: width, height and distance, m; scale, px per mm; and the label size it is for."""

    size: LabelSize
    width_m: float
    height_m: float
    distance_m: float
    px_per_mm: float

    def across(self, kind: VesselKind) -> int:
        """Vessels of a kind side by side in the frame."""
        return floor((1000 * self.width_m + _BETWEEN_MM) / (kind.face_width_mm + _BETWEEN_MM))

    def down(self, kind: VesselKind) -> int:
        """Rows of vessels of a kind in the frame, with labels below them included."""
        label = LABELS[self.size]
        tall = kind.face_height_mm + (label.height_mm if kind.label_place == "below" else 0.0)
        return floor((1000 * self.height_m + _BETWEEN_MM) / (tall + _BETWEEN_MM))


def widest_view(camera: Camera, size: LabelSize) -> View:
    """The widest view in which every sharp label of this size can be read."""
    widest_mm = _ROOM * camera.width_px / LABELS[size].readable_px_per_mm
    width_m = max(0.05, floor(widest_mm / 50) * 0.05)
    return View(
        size=size,
        width_m=round(width_m, 2),
        height_m=round(width_m * camera.height_px / camera.width_px, 2),
        distance_m=round(width_m / camera.width_per_distance, 2),
        px_per_mm=camera.width_px / (1000 * width_m),
    )


def far_words(view: View, units: Units) -> str:
    """How far away the camera is for a view."""
    return f"{view.distance_m:.1f} m" if units.lengths == "cm" else f"{1000 * view.distance_m / MM_A_FOOT:.1f} ft"


def _across(view: View, units: Units) -> str:
    if units.lengths == "cm":
        return f"{view.width_m:g} x {view.height_m:g} m"
    return f"{1000 * view.width_m / MM_A_FOOT:.1f} x {1000 * view.height_m / MM_A_FOOT:.1f} ft"


def photo_guide(camera: Camera | None = None, units: Units | None = None) -> tuple[tuple[str, str], ...]:
    """The guide as (heading, text) with the camera's numbers; None means a 12-megapixel phone, and metric units."""
    units = units or Units()
    camera = camera or Camera()
    kinds = vessel_kinds()
    normal, small = widest_view(camera, "normal"), widest_view(camera, "small")
    megapixels = camera.width_px * camera.height_px / 1e6
    lean_mm = 1000 * normal.width_m * sin(radians(_TILT_DEGREES))
    far, near = normal.distance_m * 1000 + lean_mm / 2, normal.distance_m * 1000 - lean_mm / 2
    bags, plates = kinds["bag"], kinds["plate"]
    return (
        (
            "Distance",
            f"A picture of {megapixels:.0f} megapixels ({camera.width_px} x {camera.height_px}) may show"
            f" {_across(normal, units)} of shelf with normal labels ({normal.px_per_mm:.1f} px for"
            f" each mm), or {_across(small, units)} of tray with small ones. With a lens of"
            f" {camera.focal_35mm:g} mm (35 mm equivalent) that is {far_words(normal, units)} and"
            f" {far_words(small, units)} away. Nearer is fine; no digital zoom.",
        ),
        (
            "Vessels in a frame",
            f"{normal.across(bags)} bags side by side and {normal.down(bags)} rows of them,"
            f" {normal.across(kinds['jar'])} jars side by side, or {small.across(plates)} x {small.down(plates)}"
            f" plates, {units.length(_BETWEEN_MM)} apart. A face that is hidden behind a post or another vessel, or"
            " lies outside the frame, gets no number or an unsure one.",
        ),
        (
            "Angle",
            "Square on, the camera at the height of the middle of the frame; plates and tubs from straight above."
            f" Turned by {_TILT_DEGREES:.0f} degrees, one side of the frame is already {100 * (far / near - 1):.0f} %"
            " larger than the other. Upright or lying makes no difference.",
        ),
        (
            "Light",
            "Even light over the whole frame, the same lamps every day, no flash. Two lamps at the sides are better"
            " than one above. `spawnrun calibrate` measures from one photo how uneven the light is, and where.",
        ),
        (
            "Glare",
            "Film, glass and condensation mirror what is bright behind the camera: lamps to the side, at about 45"
            " degrees to the shelf (common practice, no source), a dark cloth or a turned-off lamp behind you. No glare"
            " on the label.",
        ),
        (
            "Focus",
            "Hold still, or lean on something; tap on a label to focus. Clean the lens. A label is read when it is"
            f" sharp: one module of the code ({LABELS['normal'].module_mm:g} mm on a normal label,"
            f" {LABELS['small'].module_mm:g} on a small one) wants {READABLE_PX_PER_MODULE:g} photo pixels.",
        ),
        (
            "When",
            "At the same hour, daily or every other day, and on the day of any shake both before and after it. Not"
            " right after the room was heated, cooled or misted: wait until condensation has cleared (common"
            " practice, no source). Let the camera's clock be right: the day in the picture is the day of the reading.",
        ),
    )
