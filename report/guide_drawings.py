"""Three line drawings for the photo guide: a shelf from the side, its lamps from above, and plates from above."""

from collections.abc import Sequence

from report.guide import Camera, widest_view
from report.pdf_pen import BOLD, PLAIN, Pen

#: Width of one drawing and height of all, mm.
_WIDE, HIGH_MM = 60.0, 46.0
_GAP = 3.0
_Line = tuple[float, float, float, float]


def draw_guide(pen: Pen, left: float, top: float, camera: Camera, far: str) -> None:
    """Draw them side by side; far: the distance of the camera from the shelf, as text."""
    drawings = (
        ("Square on, at mid-height", _from_the_side(camera), ((20.0, 44.5, far), (49.0, 44.5, "shelf"))),
        ("Lamps at the sides, about 45 degrees", _lamps(), ((2.0, 36.0, "lamp"), (50.0, 36.0, "lamp"))),
        ("Plates and tubs: from straight above", _from_above(), ((40.0, 9.0, "camera"), (8.0, 41.0, "tray"))),
    )
    for number, (title, lines, words) in enumerate(drawings):
        x = left + number * (_WIDE + _GAP)
        pen.text(x, top + 3.0, title, 8, BOLD)
        for x0, y0, x1, y1 in lines:
            pen.line(x + x0, top + y0, x + x1, top + y1, 0.25)
        for at, down, text in words:
            pen.text(x + at, top + down, text, 7, PLAIN)


def _rectangle(left: float, top: float, width: float, height: float) -> list[_Line]:
    right, low = left + width, top + height
    return [(left, top, right, top), (right, top, right, low), (right, low, left, low), (left, low, left, top)]


def _dashes(x0: float, y0: float, x1: float, y1: float, count: int = 9) -> list[_Line]:
    """A dashed line."""
    ends = [n / (2 * count - 1) for n in range(2 * count)]
    points = [(x0 + (x1 - x0) * at, y0 + (y1 - y0) * at) for at in ends]
    return [(*start, *end) for start, end in zip(points[::2], points[1::2], strict=True)]


def _from_the_side(camera: Camera) -> Sequence[_Line]:
    """A shelf of two boards with bags, the camera level with its middle; the view has the camera's own angle."""
    view = widest_view(camera, "normal")
    shelf, eye, middle = 46.0, 6.0, 22.0
    half = min(15.0, (shelf - eye) * view.height_m / view.distance_m / 2)
    boards = [(44.0, y, 58.0, y) for y in (middle - half, middle, middle + half)]
    bags = [line for y in (middle - half, middle) for line in _rectangle(shelf, y + 3.0, 8.0, half - 3.0)]
    arrow = [(eye, 41.0, shelf, 41.0), (eye, 40.0, eye, 42.0), (shelf, 40.0, shelf, 42.0)]
    rays = [*_dashes(eye, middle, shelf, middle - half), *_dashes(eye, middle, shelf, middle + half)]
    return [*_rectangle(eye - 2.0, middle - 3.0, 2.0, 6.0), *boards, *bags, *rays, *arrow]


def _lamps() -> Sequence[_Line]:
    """From above: the shelf's front at the top, the camera before its middle, a lamp at 45 degrees on each side."""
    front, middle = 10.0, 30.0
    bags = [line for n in range(4) for line in _rectangle(14.0 + 8.5 * n, front - 3.0, 7.0, 3.0)]
    lamps = [*_rectangle(4.0, 29.0, 4.0, 3.0), *_rectangle(52.0, 29.0, 4.0, 3.0)]
    light = [*_dashes(8.0, 29.0, 26.0, front + 1.0), *_dashes(52.0, 29.0, 34.0, front + 1.0)]
    camera = _rectangle(middle - 3.0, 34.0, 6.0, 2.0)
    return [(10.0, front, 50.0, front), *bags, *lamps, *light, *camera, *_dashes(middle, 34.0, middle, front + 1.0)]


def _from_above() -> Sequence[_Line]:
    """From the side: plates on a tray, the camera straight above the middle."""
    tray, middle = 36.0, 30.0
    plates = [line for n in range(4) for line in _rectangle(11.0 + 10.0 * n, tray - 2.5, 8.0, 2.5)]
    rays = [*_dashes(middle, 9.0, 9.0, tray - 2.5), *_dashes(middle, 9.0, 51.0, tray - 2.5)]
    return [*_rectangle(middle - 3.0, 7.0, 6.0, 2.0), (8.0, tray, 52.0, tray), *plates, *rays]
