"""The report shows what a photo shows that bears no percent: as the newest face, framed, and in the strip over days."""

from pathlib import Path

from farm.lists import list_today
from farm.measure import measure_paths
from farm.outlook import bring_up_to_date
from farm.store import Farm
from report.page import gather_page, page_html
from tests.farm.painted import NO_PERCENT, paint, painted_vision


def test_the_newest_face_is_that_of_the_photo_without_a_percent(shelf: Farm, tmp_path: Path) -> None:
    paint(tmp_path / "photos" / "20260312_1800.png", ("B002", NO_PERCENT, 14), ("B001", 99))
    measure_paths(shelf, [tmp_path / "photos"], vision=painted_vision())
    page = gather_page(shelf, list_today(shelf, bring_up_to_date(shelf)))
    cards = {card.id: card for card in page.cards}
    shown, clean = cards["B002"], cards["B001"]
    assert shown.percent == "50 %"  # the newest that there is: a photo without one is no point of the curve
    assert (shown.photo, shown.measured) == ("Thu 12 Mar 2026, 18:00", "no percent: what may be mould is framed")
    assert [frame.says for frame in shown.strip[-2:]] == ["50 %", "no percent"]
    assert (clean.measured, clean.strip[-1].says) == ("measured", "99 %")
    assert page_html(page).count("<figcaption>no percent: what may be mould is framed</figcaption>") == 1
