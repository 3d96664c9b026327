"""The languages: the same keys and the same places to fill in, and words for all that the farm may say."""

import ast
import re
import string
from pathlib import Path
from typing import get_args

import pytest

from calibration import KINDS, USES, colour_meanings
from farm.fruiting.life import Stage
from farm.lists.marks import PhotoReason
from farm.records import STEPS
from farm.records.flags import FARM_FLAGS
from farm.records.models import _NO_CONTAMINATION, SIGN_SUBJECTS
from phone.answers import RETAKE_REASONS, retake_words
from phone.ticks import EVENTS
from phone.words import LANGUAGES, chosen_language, words_of
from report import CAUTIONS
from vision.flags import FLAGS

ROOT = Path(__file__).parents[2]
FIRST = words_of("en").texts
OTHERS = [one for one in LANGUAGES if one != "en"]
#: What the farm itself has in English, and other languages therefore have in their file.
FROM_THE_FARM = {f"caution.{n}" for n in range(1, len(CAUTIONS) + 1)} | {f"meaning.{one}" for one in colour_meanings()}


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_is_complete(language: str) -> None:
    texts = words_of(language).texts
    assert texts.keys() ^ FIRST.keys() == FROM_THE_FARM
    assert {key for key in FIRST if places(texts[key]) != places(FIRST[key])} == set()
    assert [
        key for key, text in texts.items() if not text.strip() or (text != text.strip() and not text.endswith(": "))
    ] == []
    same = {key for key in FIRST if texts[key] == FIRST[key]}
    # Names, numbers, and words that both languages have.
    assert len(same) < 0.05 * len(FIRST), same


@pytest.mark.parametrize("language", LANGUAGES)
def test_there_is_a_word_for_all_that_the_records_may_say(language: str) -> None:
    words = words_of(language)
    wanted: dict[str, set[str]] = {
        "kind": set(KINDS),
        "use": set(USES),
        "why": {one.replace(" ", "_") for one in _NO_CONTAMINATION},
        "subject": {
            *(one.replace(" ", "_") for one in _NO_CONTAMINATION),
            *colour_meanings(),
            *(one.replace(" ", "_") for one in SIGN_SUBJECTS.values()),
            *SIGN_SUBJECTS,
        },
        "flag": {*FLAGS, *FARM_FLAGS},
        "tick": {*STEPS, *EVENTS, "harvested"},
        "done": {*STEPS, *EVENTS, "harvested"},
        "todo.photo": set(get_args(PhotoReason)) - {""},
        "todo.fruit": set(get_args(Stage)),
        "again": {key for _, key in RETAKE_REASONS},
    }
    assert {
        f"{group}.{name}" for group, names in wanted.items() for name in names if not words.has(f"{group}.{name}")
    } == set()


def test_every_key_that_the_pages_use_exists() -> None:
    used = set()
    for source in [*(ROOT / "phone").glob("*.py"), *(ROOT / "phone" / "templates").glob("*.html")]:
        used |= set(re.findall(r'\b(?:words|t)\("([\w.-]+)"', source.read_text("utf-8")))
    missing = {one for one in used if not {one, f"{one}.one"} & FIRST.keys() and not one.endswith(".")}
    assert len(used) > 100
    assert missing == set()


def test_no_text_on_a_page_stands_outside_the_language_file() -> None:
    """Templates have no letters between tags, save in their own expressions."""
    for source in (ROOT / "phone" / "templates").glob("*.html"):
        bare = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<[^>]*>|&times;", " ", source.read_text("utf-8"), flags=re.S)
        assert re.findall(r"[A-Za-z]{2,}", bare) == [], source.name


def test_a_reason_of_the_measuring_is_told_in_the_phones_words() -> None:
    """Each reason that vision gives is known; what is not is shown as it is."""
    reasons = set()
    for source in (ROOT / "vision").rglob("*.py"):
        for node in ast.walk(ast.parse(source.read_text("utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.startswith("retake: "):
                reasons.add(node.value)
    assert len(reasons) >= 8
    german = words_of("de")
    assert {one for one in reasons if retake_words(german, one) == one} == set()
    assert retake_words(german, "something new") == "something new"
    blurred = "no label found: the picture is too blurred; hold the camera still and focus on the labels"
    assert retake_words(words_of("en"), blurred) == "blurred: hold still, let the camera focus on the labels."
    assert retake_words(words_of("en"), "label X9 belongs to no vessel in the list: add it, or remove the label") == (
        "label X9 is of no vessel in the records: add it at the computer."
    )


@pytest.mark.parametrize(
    ("wanted", "accepted", "chosen"),
    [
        ("", "", "en"),
        ("", "de-AT,de;q=0.9,en;q=0.8", "de"),
        ("", "fr,de;q=0.5", "de"),
        ("", "fr", "en"),
        ("de", "en", "de"),
        ("xx", "en", "en"),
        ("../en", "*", "en"),
    ],
)
def test_the_language_is_the_one_asked_for_or_the_browsers(wanted: str, accepted: str, chosen: str) -> None:
    assert chosen_language(wanted, accepted) == chosen
