"""Codes of labels: made by segno and read by this program; printed by this program and read by OpenCV."""

import random
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import segno

from report import LabelSheets, PrintedLabel, own_layouts, write_labels
from tests.outside.conftest import Tell
from vision.label.labels import find_labels

LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-./:"


def test_codes_of_an_independent_generator_are_read(tell: Tell) -> None:
    """Any id of 1 to 16 letters, ISO/IEC 18004 version 1, level Q, as segno draws it."""
    chance = random.Random(18004)
    wanted = ["".join(chance.choices(LETTERS, k=chance.randint(1, 16))) for _ in range(200)]
    read = []
    for text in wanted:
        modules = np.array(
            list(segno.make_qr(text, version=1, error="q", mode="alphanumeric", boost_error=False).matrix)
        )
        picture = np.pad(np.where(modules, 0, 255).astype(np.uint8), 8, constant_values=255)
        grey = np.asarray(cv2.resize(picture, None, fx=5, fy=5, interpolation=cv2.INTER_NEAREST), np.uint8)
        read.append([label.text for label in find_labels(grey)])
    assert read == [[text] for text in wanted]
    tell("200 QR codes of random ids, read", "segno, an independent generator", "200", str(sum(map(bool, read))))


def test_printed_codes_are_read_by_an_independent_reader(tmp_path: Path, tell: Tell) -> None:
    """Printed as PDF, rendered by PDFium at 300 dpi, read by OpenCV's QRCodeDetector; printing uses neither of them."""
    ids = ["B001", "J-12/3", "P.7:A", "K999", "A", "0123456789ABCDEF"]
    labels = [PrintedLabel(one, "normal") for one in ids]
    write_labels(LabelSheets(own_layouts("a4", labels), with_guide=False), tmp_path / "labels.pdf")
    with pypdfium2.PdfDocument(tmp_path / "labels.pdf") as document:
        page = document[0].render(scale=300 / 72, grayscale=True).to_numpy().squeeze()
    _, read, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(np.ascontiguousarray(page))
    assert sorted(read) == sorted(ids)
    tell("6 printed QR codes, read", "OpenCV's reader, PDFium's rendering", "6", str(len(read)))
