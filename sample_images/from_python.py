"""The program's parts from Python, on the photos of this folder: arrays and tables in, plain records out.

Read it cell by cell in a notebook or an editor that knows `# %%`, or run it: `python sample_images/from_python.py`.
A photo is an array (rows, columns, 3) of 8-bit sRGB, percents are 0 to 100, and days count from inoculation. What each
function takes and returns is in its docstring: `help(measure_photo)`, `help(Series)`, `help(forecast)`.
"""

# %% One photo: picture and context in, a reading with its face out for each vessel that is seen.
from datetime import datetime
from pathlib import Path

from growth.data import Series
from growth.forecast import forecast
from vision.photo import measure_photo
from vision.pixels import load_picture
from vision.records import PhotoContext, VesselSpec

photos = sorted((Path(__file__).parent / "photos" / "jars").glob("*.jpg"))
context = PhotoContext(vessels={"J001": VesselSpec("J001", "jar", "oyster", "rye grain", label_size="small")})
picture = load_picture(photos[2])  # any array will do: picture.rgb is one
print(f"{photos[2].name}: {picture.rgb.shape} {picture.rgb.dtype}, taken {picture.taken_at}")
for one in measure_photo(picture.rgb, context):
    reading = one.reading
    if reading.status == "ok":
        print(
            f"  {reading.vessel}: {reading.percent:.0f} % colonised ({reading.percent_low:.0f} to"
            f" {reading.percent_high:.0f}), {reading.mm_per_px:.2f} mm for each photo pixel"
        )
    else:
        print(f"  {reading.vessel or '?'}: {reading.reason}")

# %% The face it was read from: rectified, colour corrected, with what each pixel is (the values of a class map).
(face,) = [one.face for one in measure_photo(picture.rgb, context) if one.face is not None]
print(f"face: {face.rgb.shape} at {face.px_per_mm:g} px for each mm; mycelium on {(face.classes == 2).sum()} pixels")

# %% A fortnight of photos, as numbers.
inoculated = datetime(2026, 3, 1, 9)  # noqa: DTZ001 - the camera's clock, as in the photos
days, percent, low, high = [], [], [], []
for photo in photos:
    picture = load_picture(photo)
    for one in measure_photo(picture.rgb, context):
        if one.reading.vessel == "J001" and one.reading.percent is not None and picture.taken_at is not None:
            days.append((picture.taken_at.replace(tzinfo=None) - inoculated).total_seconds() / 86_400)
            percent.append(one.reading.percent)
            low.append(one.reading.percent_low)
            high.append(one.reading.percent_high)
print("day     ", *(f"{day:6.1f}" for day in days))
print("percent ", *(f"{value:6.1f}" for value in percent))

# %% When is it colonised through? From what was known after four photos, and from percents of any other origin.
known = slice(0, 4)
jar = Series(
    vessel="J001",
    kind="jar",
    species="oyster",
    substrate="rye grain",
    days=tuple(days[known]),
    percent=tuple(percent[known]),
    low=tuple(low[known]),
    high=tuple(high[known]),
)
by_eye = Series(vessel="by eye", kind="bag", species="oyster", substrate="straw", days=(4, 7, 10), percent=(10, 35, 70))
told = forecast([jar, by_eye])
for answer in told:
    if answer.through_median is None:
        print(f"{answer.vessel}: {answer.status}; {'; '.join(answer.notes)}")
    else:
        print(
            f"{answer.vessel}: {answer.status}, colonised through on day {answer.through_median:.1f}"
            f" (80 % sure: {answer.through_low:.1f} to {answer.through_high:.1f})"
        )
