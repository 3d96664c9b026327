"""Files whose damage a decoder only warns of, or does not notice, are refused or flagged; a crash costs one picture."""

import io
import random
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.processes import is_running, started
from tests.values import known
from vision.flags import FLAGS
from vision.pixels import PictureError, apart, load_picture
from vision.pixels.picture import MAX_PIXELS_WHOLE

ROOT = Path(__file__).parents[2]
BAGS = ROOT / "sample_images" / "photos" / "bags"


@pytest.fixture(scope="module")
def photo() -> Image.Image:
    with Image.open(sorted(BAGS.iterdir())[2]) as image:
        return image.resize((600, 450))


def saved(image: Image.Image, kind: str, **how: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **how)
    return buffer.getvalue()


def with_small_copy(image: Image.Image) -> bytes:
    """A JPEG with a thumbnail in its EXIF (CIPA DC-008, directory 1)."""
    small = image.copy()
    small.thumbnail((160, 120))
    copy = saved(small, "JPEG")
    start = 8 + 6 + 2 + 3 * 12 + 4
    entries = [(0x103, 3, 6), (0x201, 4, start), (0x202, 4, len(copy))]  # JPEG; offset; length
    tags = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    exif = b"II*\0" + struct.pack("<IHI", 8, 0, 14) + struct.pack("<H", 3) + tags + struct.pack("<I", 0) + copy
    return saved(image, "JPEG", quality=90, exif=b"Exif\0\0" + exif)


def flipped(content: bytes, at: int, chance: random.Random) -> bytes:
    changed = bytearray(content)
    changed[at] ^= 1 << chance.randrange(8)
    return bytes(changed)


def flips(content: bytes, count: int, first: float = 0.1) -> list[bytes]:
    """The content with one bit flipped, after its first part."""
    chance = random.Random(7)
    return [flipped(content, chance.randrange(round(len(content) * first), len(content)), chance) for _ in range(count)]


def reason(content: bytes) -> str:
    try:
        load_picture(content)
    except PictureError as error:
        return str(error)
    return ""


def test_a_jpeg_that_the_decoder_warns_of_is_refused_and_nothing_reaches_the_terminal(photo, capfd):
    reasons = [reason(content) for content in flips(saved(photo, "JPEG"), 120)]
    refused = [one for one in reasons if one]
    assert len(refused) > 10
    words = ("the decoder reports", "cut short", "from one block on", "steps of quantisation", "lighter than white")
    assert all(any(some in one for some in words) for one in refused)
    assert sum("the decoder reports" in one or "cut short" in one for one in refused) > 10
    assert any("copy the file again" in one for one in refused)
    assert capfd.readouterr() == ("", "")


def test_a_jpeg_with_padding_before_its_end_is_read(photo):
    """Some cameras do this; the decoder warns of it as of damage."""
    whole = saved(photo, "JPEG")
    padded = whole[:-2] + b"\0" * 300 + whole[-2:]
    assert np.array_equal(load_picture(padded).rgb, load_picture(whole).rgb)
    assert "extraneous bytes" in reason(whole[:-2] + bytes(range(200)) + whole[-2:])


def test_a_jpeg_that_decodes_to_other_colours_without_a_warning_is_refused_by_its_thumbnail(photo):
    """The reference is the undamaged picture: a picture that is read has its colours."""
    whole = with_small_copy(photo)
    meant = load_picture(whole).rgb.astype(int)
    refused, far = [], 0
    for content in flips(whole, 120):
        if why := reason(content):
            refused.append(why)
        else:
            far += np.abs(load_picture(content).rgb - meant).mean() > 12
    assert sum("small copy" in one for one in refused) >= 5
    assert far <= 1


def test_the_thumbnail_of_an_edited_picture_is_ignored(photo):
    """The thumbnail of another picture, or of the same one made brighter, does not show damage."""
    whole = with_small_copy(photo)
    start = whole.index(b"\xff\xdb", whole.index(b"\xff\xd9"))  # the tables of the photo, after the thumbnail
    for other in (photo.transpose(Image.Transpose.FLIP_TOP_BOTTOM), photo.point(lambda level: min(255, level + 40))):
        changed = saved(other, "JPEG", quality=90)
        content = whole[:start] + changed[changed.index(b"\xff\xdb") :]
        assert load_picture(content).rgb.shape == (450, 600, 3)


def test_any_changed_byte_of_a_png_is_noticed(photo):
    for content in flips(saved(photo.resize((200, 150)), "PNG"), 200, first=0.002):
        assert "damaged" in reason(content) or "cut short" in reason(content) or "not a picture" in reason(content)


@pytest.mark.parametrize("is_in_rows", [True, False])
def test_a_heic_whose_decoder_ignores_damage_is_refused(photo, is_in_rows):
    pillow_heif = pytest.importorskip("pillow_heif", reason="only the full build writes HEIC")
    buffer = io.BytesIO()
    coding = (
        {} if is_in_rows else {"x265:wpp": "0"}
    )  # without restart markers at the rows, by which the decoder would notice
    pillow_heif.from_pillow(photo).save(buffer, quality=70, enc_params=coding)
    whole = buffer.getvalue()
    meant = load_picture(whole)
    assert meant.flags == ()
    n_read = 0
    for content in flips(whole, 25):
        if not reason(content):
            n_read += 1
            assert np.abs(load_picture(content).rgb.astype(int) - meant.rgb).mean() < 1
    assert n_read <= 3


@pytest.mark.parametrize("kind", ["WEBP", "TIFF"])
def test_a_format_in_which_damage_cannot_be_noticed_is_flagged(photo, kind):
    assert load_picture(saved(photo, kind)).flags == ("unchecked_file",)
    assert "unchecked_file" in FLAGS


def test_a_decoder_that_crashes_costs_only_its_picture(photo, monkeypatch, tmp_path):
    webp = saved(photo, "WEBP")
    apart._decoder.close()
    monkeypatch.setattr(apart, "_MODULE", "tests.vision.crashing")
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    assert "crashed" in reason(webp)
    assert reason(saved(photo, "JPEG")) == ""
    monkeypatch.undo()
    assert reason(webp) == ""


def test_a_decoder_that_does_not_end_is_stopped(photo, monkeypatch):
    apart._decoder.close()
    monkeypatch.setattr(apart, "_MODULE", "tests.vision.crashing")
    monkeypatch.setattr(apart, "_MOST_SECONDS", 1.5)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    monkeypatch.setenv("SPAWNRUN_TEST_SLEEP", "60")
    assert "not decoded in" in reason(saved(photo, "WEBP"))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system kills otherwise")
def test_the_decoder_ends_with_the_process_that_asks_it(photo, tmp_path):
    (tmp_path / "a.webp").write_bytes(saved(photo, "WEBP"))
    program = (
        "import sys; from pathlib import Path; from vision.pixels import apart, load_picture\n"
        "load_picture(Path(sys.argv[1]))\n"
        "print(apart._decoder._process.pid, flush=True); sys.stdin.read()\n"
    )
    command = [sys.executable, "-c", program, tmp_path / "a.webp"]
    with started(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        decoder = int(known(process.stdout).readline())
        process.kill()
        process.wait()
        until = time.monotonic() + 20
        while is_running(decoder) and time.monotonic() < until:
            time.sleep(0.05)
        assert not is_running(decoder)


def test_a_decoder_that_hangs_ends_without_the_process_that_asks_it(photo):
    """It holds the interpreter's lock, as a decoder in a loop may; who asks is killed, or never gives it up."""
    program = (
        "import re; from vision.pixels import decoder\n"
        "decoder._MOST_SECONDS = 1.0\n"
        "decoder._decoded = lambda content: re.match('(a+)+$', 'a' * 60 + 'b')\n"
        "decoder.main()\n"
    )
    command = [sys.executable, "-c", program]
    with started(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        content = saved(photo, "WEBP")
        known(process.stdin).write(struct.pack(">Q", len(content)) + content)
        known(process.stdin).flush()
        assert process.wait(timeout=30) != 0


def test_a_very_large_jpeg_is_read_at_half_its_size():
    size = (8000, 7200)
    assert size[0] * size[1] > MAX_PIXELS_WHOLE
    steps = Image.fromarray(np.repeat(np.arange(0, 256, 32).astype(np.uint8), 1000)[None].repeat(size[1], 0))
    picture = load_picture(saved(steps, "JPEG"))
    assert picture.rgb.shape == (3600, 4000, 3)
    assert picture.reduced == 2
    assert picture.flags == ("reduced",)
    assert [int(level) for level in picture.rgb[5, 250::500, 0]] == list(range(0, 256, 32))


@pytest.mark.parametrize(
    ("kind", "width", "height", "advice"),
    [("jpg", 15_000, 15_000, "make it smaller$"), ("png", 10_000, 9_000, "save it as a JPEG of up to 220 megapixels")],
)
def test_a_larger_one_is_refused_by_its_header_with_advice(kind, width, height, advice):
    from benchmarks.fuzz.pictures import promises

    with pytest.raises(PictureError, match=rf"too large: {width} x {height} pixels.*{advice}"):
        load_picture(promises(kind, width, height))


@pytest.mark.parametrize(("kind", "most"), [("jpg", 220), ("png", 80)])
def test_one_that_is_larger_still_is_refused_by_the_limit_of_its_format(kind, most):
    """Pillow refuses such a size itself, before ours is asked; the advice for a PNG then named a JPEG's limit."""
    from benchmarks.fuzz.pictures import promises

    assert reason(promises(kind, 40_000, 40_000)).startswith(f"too large: at most {most} megapixels")


def test_a_progressive_jpeg_that_needs_too_much_memory_is_refused_by_its_header():
    from benchmarks.fuzz.pictures import promises

    content = promises("jpg", 14_000, 15_000).replace(b"\xff\xc0", b"\xff\xc2", 1)
    content = content.replace(b"\x01\x22\x00", b"\x01\x11\x00", 1)  # no colours at half the size
    assert "save it as a baseline JPEG" in reason(content)


def test_a_file_larger_than_any_photo_is_refused_unread(tmp_path):
    path = tmp_path / "sparse.jpg"
    with path.open("wb") as file:
        file.truncate(3_000_000_000)
    with pytest.raises(PictureError, match=r"too large: a file of 3,000 MB; at most 256 MB"):
        load_picture(path)
