"""A farm with hostile strings in every free text."""

from sqlalchemy import update

from farm.outlook import list_outlooks
from farm.records import add_note
from farm.review import give_verdict, review_items
from farm.store import Farm
from farm.store.schema import vessels

#: Sets a variable in any page that runs it.
SCRIPT = "<script>document.title='RUN'</script>"
IMAGE = "<img src=x onerror=\"document.title='RUN'\">"
BREAKOUT = "\"'><svg onload=document.title='RUN'>"
TEMPLATE = "{{ 7 * 191 }}{% raw %}${7*191}"
FORMULA = '=HYPERLINK("http://other.example","x")'
TURNED = "\N{RIGHT-TO-LEFT OVERRIDE}gpj.eb\N{POP DIRECTIONAL FORMATTING}\N{RIGHT-TO-LEFT MARK}\N{FIRST STRONG ISOLATE}"
TERMINAL = "\x1b[2J\x1b]0;RUN\x07\x9b31mred\x00"
FOLDED = "one\r\nBEGIN:VEVENT\r\nSUMMARY:RUN"
HOSTILE = (SCRIPT, IMAGE, BREAKOUT, TEMPLATE, FORMULA, "+1+1", "-2", "@SUM(1)", "\tx", TURNED, TERMINAL, FOLDED)
#: Strings that must not appear unescaped in output for people.
OBEYED = (
    "\x1b",
    "\x07",
    "\x9b",
    "\x00",
    "\N{RIGHT-TO-LEFT OVERRIDE}",
    "\N{RIGHT-TO-LEFT MARK}",
    "\N{FIRST STRONG ISOLATE}",
)


def make_hostile(shelf: Farm) -> Farm:
    """Put all hostile strings in every free-text column, a note, a reviewer and a reviewer's note."""
    everything = " ".join(HOSTILE)
    facts = dict.fromkeys(("batch", "species", "substrate", "source", "shelf"))
    with shelf.writing() as connection:
        for number, vessel in enumerate(("B001", "B002", "B003")):
            texts = {name: HOSTILE[(number + place) % len(HOSTILE)] + everything for place, name in enumerate(facts)}
            connection.execute(update(vessels).where(vessels.c.id == vessel).values(**texts))
    for text in HOSTILE:
        add_note(shelf, "B002", text)
    items = review_items(shelf, list_outlooks(shelf))
    give_verdict(shelf, items, "B002", "watched", note=everything, by=everything)
    return shelf
