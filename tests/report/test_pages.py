"""A report of many vessels: a front page, and pages of vessels in a folder next to it."""

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from farm.lists import day_before, today_and_changes
from farm.store import Farm, output_folder
from farm.store.errors import OutputFolderError
from report import write_report

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")


class Links(HTMLParser):
    """Links and ids of a page."""

    def __init__(self, page: Path) -> None:
        super().__init__()
        self.links: list[str] = []
        self.ids: list[str] = []
        self.text = page.read_text("utf-8")
        self.feed(self.text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value or "" for name, value in attrs if name == "href"]
        self.ids += [value or "" for name, value in attrs if name == "id"]


@pytest.fixture
def small_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("report.page.ONE_PAGE", 2)
    monkeypatch.setattr("report.pages.A_PAGE", 2)


def write(shelf: Farm, target: Path) -> Path:
    since = day_before(shelf)
    items, changes = today_and_changes(shelf, since)
    return write_report(shelf, items, target, changes=changes, since=since)


def test_every_link_of_every_page_resolves(shelf: Farm, small_pages: None, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    front = write(shelf, tmp_path / "out" / "today.html")
    pages = sorted((tmp_path / "out" / "today-pages").glob("*.html"))
    assert [page.name for page in pages] == ["001.html", "002.html"]
    read = {page.resolve(): Links(page) for page in (front, *pages)}
    for page, found in read.items():
        for link in found.links:
            file, _, place = link.partition("#")
            target = (page.parent / file).resolve() if file else page
            assert target in read, link
            assert not place or place in read[target].ids, link
    assert [len(re.findall("<article", read[page.resolve()].text)) for page in (front, *pages)] == [0, 2, 1]
    faces = [read[page.resolve()].text.count("data:image/jpeg") for page in (front, *pages)]
    assert faces[0] == 2, "a small one beside each task: one to look at, two bags that are due"
    assert min(faces[1:]) > 0


def test_cautions_are_on_each_page_with_a_suspect(shelf: Farm, small_pages: None, tmp_path: Path) -> None:
    write(shelf, tmp_path / "report.html")
    pages = [page.read_text("utf-8") for page in sorted((tmp_path / "report-pages").glob("*.html"))]
    assert [("Suspect:" in page, "do not sniff" in page) for page in pages] == [(True, True), (True, True)]


def test_a_batch_on_two_pages_is_counted_completely_on_both(shelf: Farm, small_pages: None, tmp_path: Path) -> None:
    write(shelf, tmp_path / "report.html")
    pages = [page.read_text("utf-8") for page in sorted((tmp_path / "report-pages").glob("*.html"))]
    assert ["3 of 3 running" in page for page in pages] == [True, True]


def test_a_report_that_fits_on_one_page_again_removes_the_old_pages(
    shelf: Farm, small_pages: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = write(shelf, tmp_path / "report.html")
    monkeypatch.setattr("report.page.ONE_PAGE", 500)
    write(shelf, target)
    assert list((tmp_path / "report-pages").glob("*.html")) == []
    assert "data:image/jpeg" in target.read_text("utf-8")


def test_a_folder_with_other_files_is_not_changed(shelf: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    other = tmp_path / "report-pages"
    other.mkdir()
    (other / "001.html").write_text("mine")
    write(shelf, tmp_path / "report.html")
    assert (other / "001.html").read_text() == "mine"
    monkeypatch.setattr("report.page.ONE_PAGE", 1)
    with pytest.raises(OutputFolderError, match="holds other files"):
        write(shelf, tmp_path / "report.html")
    assert (other / "001.html").read_text() == "mine"
    monkeypatch.undo()
    output_folder(other)
    write(shelf, tmp_path / "report.html")
    assert not (other / "001.html").exists()


def test_a_reader_goes_from_the_list_to_a_vessel_and_back(
    shelf: Farm, small_pages: None, tmp_path: Path, browser: Any
) -> None:
    context = browser.new_context(viewport={"width": 400, "height": 900}, offline=True)
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(write(shelf, tmp_path / "report.html").as_uri())
    page.get_by_label("Search").fill("b003")
    assert page.locator("#all tbody tr:visible th").all_text_contents() == ["B003"]
    page.locator("#all tbody tr:visible th a").click()
    sync_api.expect(page.locator("article", has_text="B003")).to_be_in_viewport()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.get_by_role("link", name="Previous page").click()
    sync_api.expect(page.locator("article")).to_have_count(2)
    page.get_by_role("link", name="Changes, today's list").click()
    sync_api.expect(page.locator("#all tbody tr")).to_have_count(3)
    assert complaints == []
    context.close()
