"""`spawnrun labels`: which labels are printed, and what is refused."""

from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from PIL import ExifTags, Image

from tests.cli.conftest import Spawnrun

QR_CODES = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])


def printed(target: str) -> list[str]:
    """Ids on the pages, decoded."""
    found: list[str] = []
    with pypdfium2.PdfDocument(target) as document:
        for page in document:
            picture = page.render(scale=200 / 72, grayscale=True).to_numpy().squeeze()
            found += [one.text for one in zxingcpp.read_barcodes(picture, formats=QR_CODES)]
    return sorted(found)


def test_new_ids_need_no_farm(spawnrun: Spawnrun) -> None:
    Path("new").mkdir()
    outcome = spawnrun("labels", "b001..b013", "P1", "--copies", "2", "--out", "new/new.pdf", "--no-guide")
    assert (outcome.code, outcome.out) == (0, "labels: new/new.pdf, 28 on 3 pages\n")
    assert "actual size" in outcome.err
    assert printed("new/new.pdf") == sorted(2 * [*(f"B{n:03}" for n in range(1, 14)), "P1"])


def test_without_ids_every_running_vessel_gets_a_label(spawnrun: Spawnrun, vessels: Path) -> None:
    spawnrun("init", "home")
    assert "no running vessel" in spawnrun("labels", "--farm", "home").err
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    spawnrun("vessel", "close", "B002", "--farm", "home")
    assert spawnrun("labels", "--farm", "home").code == 0
    assert printed("labels.pdf") == ["B001", "J001"]
    mixed = spawnrun("labels", "B002", "N9", "--farm", "home")
    assert mixed.code == 0
    assert "not in the farm yet: N9; `spawnrun vessel add` adds them" in mixed.err
    assert printed("labels.pdf") == ["B002", "N9"]


def test_labels_for_the_back_need_a_kind_with_its_label_on_the_face(spawnrun: Spawnrun, vessels: Path) -> None:
    spawnrun("init", "home")
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    assert spawnrun("labels", "--back", "--farm", "home").code == 0
    assert printed("labels.pdf") == ["B001", "B001/BACK", "B002", "B002/BACK", "J001"]
    assert spawnrun("labels", "B001/BACK", "N9", "--back", "--farm", "home").code == 0
    assert printed("labels.pdf") == ["B001/BACK", "N9", "N9/BACK"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "no farm in"),
        (("A1", "--farm", "nowhere"), "there is no folder nowhere"),
        (("A_1",), "an id is 1 to 16"),
        (("A1", "LONG-NAME-12", "--back"), "has at most 11 characters: LONG-NAME-12"),
        (("A1", "--rows", "3"), "go together"),
        (("A1", "--left-mm", "3"), "--rows and --columns too"),
        (("A1", "--rows", "20", "--columns", "5"), "a normal label is 60 x 40 mm"),
        (("A1", "--skip", "12"), "a page has 12 places"),
        (("A1", "--paper", "a5"), "a5"),
    ],
)
def test_an_id_that_cannot_be_printed_is_reported(spawnrun: Spawnrun, arguments: tuple[str, ...], said: str) -> None:
    outcome = spawnrun("labels", *arguments)
    assert outcome.code == 2
    assert said in " ".join(outcome.err.replace("│", " ").split())
    assert not Path("labels.pdf").exists()


def test_a_place_that_cannot_be_written_is_reported(spawnrun: Spawnrun, vessels: Path) -> None:
    outcome = spawnrun("labels", "A1", "--out", "vessels.csv/labels.pdf")
    assert outcome.code == 2
    assert "cannot be written" in outcome.err


def test_the_guide_uses_the_camera_of_a_photo(spawnrun: Spawnrun, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 50
    Image.new("RGB", (1500, 2000)).save(tmp_path / "mine.jpg", exif=exif)
    assert spawnrun("labels", "A1", "--camera-photo", "mine.jpg").code == 0
    with pypdfium2.PdfDocument("labels.pdf") as document:
        said = " ".join(document[1].get_textpage().get_text_range().split())
    assert "3 megapixels (2000 x 1500) may show 0.8 x 0.6 m" in said
    assert "With a lens of 50 mm (35 mm equivalent) that is 1.2 m" in said
    assert "not a file" in spawnrun("labels", "A1", "--camera-photo", "none.jpg").err
