"""Ids in short and in full: `B001..B030` stands for thirty of them."""

import re
from collections.abc import Iterable, Sequence

from calibration import VESSEL_ID_MAX_LENGTH, VESSEL_ID_PATTERN

#: Longest sequence such as B001..B030; a longer one is most likely a typing error.
MAX_IDS = 5000
_SEQUENCE = re.compile(r"(?P<stem>.*?)(?P<first>\d+)\.\.(?P<again>.*?)(?P<last>\d+)")
#: What people write for B001..B020; an id may have a dash too, so that this alone does not tell.
_DASHED = re.compile(r"(?P<stem>.*?[^\d\s])(?P<first>\d+) ?[-\N{EN DASH}] ?(?P=stem)(?P<last>\d+)")
_NUMBERED = re.compile(r"(?P<stem>.*?)(?P<number>\d+)")
#: Fewer consecutive ids than this are written out.
_WORTH_A_RANGE = 3


def vessel_id(text: object) -> str:
    """A vessel id as on the label: upper case, at most 16 of 0-9 A-Z - . / : (raises ValueError)."""
    wanted = str(text).strip().upper()
    if not re.fullmatch(VESSEL_ID_PATTERN, wanted):
        raise ValueError(f"an id is 1 to {VESSEL_ID_MAX_LENGTH} of 0-9 A-Z - . / :")
    return wanted


def dashed_range(text: str) -> str:
    """The range that a text such as "B001-B020" most likely means, "B001..B020"; "" where it means none."""
    match = _DASHED.fullmatch(text.strip().upper())
    if match is None or int(match["last"]) <= int(match["first"]):
        return ""
    return f"{match['stem']}{match['first']}..{match['stem']}{match['last']}"


def no_vessel_words(text: str) -> str:
    """That there is no vessel of an id, and how a range is written where one is meant."""
    meant = dashed_range(text)
    return f"no vessel {text}" + (f"; a range is written {meant}" if meant else "")


def alike(text: str, known: Iterable[str]) -> str:
    """The one known id that differs only by zeros, or by a letter taken for a digit; "" where none or several do."""
    found = [one for one in known if _without_slips(one) == _without_slips(text)]
    return found[0] if len(found) == 1 else ""


def _without_slips(text: str) -> str:
    digits = text.strip().upper().translate(str.maketrans("OIL", "011"))
    return re.sub(r"(?<!\d)0+(?=\d)", "", digits)


def expand_ids(texts: Sequence[str], *, new: bool = False) -> list[str]:
    """Ids in the order given, each once; `B001..B030` stands for all from the first to the last, commas separate too.

    new: no vessel has them yet, so that B001-B030 is taken for a mistake. Raises ValueError naming the text that is
    neither an id nor a sequence.
    """
    for text in texts if new else ():
        if meant := dashed_range(text):
            raise ValueError(f"{text}: a range is written {meant}; a vessel of that very name comes in by a table")
    ids: dict[str, None] = {}
    for word, text in ((one, part) for one in texts for part in one.split(",")):
        if "," in word and not text.strip():
            raise ValueError(f"{word!r}: no id stands beside the comma; leave out the space after it, or the comma")
        if text.strip().startswith("..") or text.strip().endswith(".."):
            raise ValueError(f"{' '.join(texts)!r}: a range is written without spaces, such as B001..B020")
        ids |= dict.fromkeys(_sequence(text.strip().upper()) or [_id(text)])
        if len(ids) > MAX_IDS:
            raise ValueError(f"{text}: more than {MAX_IDS} vessels")
    return list(ids)


def _id(text: str) -> str:
    try:
        return vessel_id(text)
    except ValueError as error:
        meant = dashed_range(text)
        raise ValueError(f"{text!r}: {f'a range is written {meant}' if meant else error}") from None


def _sequence(text: str) -> list[str]:
    """The ids of a sequence, or [] if the text is not a sequence."""
    match = _SEQUENCE.fullmatch(text)
    if match is None:
        return []
    stem, first, again, last = match["stem"], match["first"], match["again"], match["last"]
    if again not in ("", stem) or int(last) < int(first):
        raise ValueError(f"{text}: a sequence counts up with the same letters, such as B001..B030")
    if int(last) - int(first) >= MAX_IDS:
        raise ValueError(f"{text}: more than {MAX_IDS} vessels")
    ids = [f"{stem}{number:0{len(first)}d}" for number in range(int(first), int(last) + 1)]
    if not re.fullmatch(VESSEL_ID_PATTERN, ids[-1]):
        _id(ids[-1])  # raises an error that explains what an id may contain
    return ids


def ids_in_short(ids: Iterable[str]) -> str:
    """The ids in order, with three or more consecutive ones as a range, such as "B001..B020, B023"."""
    runs: list[list[str]] = []
    for one in sorted(ids):
        if runs and _next(runs[-1][-1]) == one:
            runs[-1].append(one)
        else:
            runs.append([one])
    parts = ([f"{run[0]}..{run[-1]}"] if len(run) >= _WORTH_A_RANGE else run for run in runs)
    return ", ".join(part for some in parts for part in some)


def said_once(faults: Iterable[tuple[str, str]]) -> list[str]:
    """Faults, each an id and what is said of it, once for all ids of which the same is said; "" is left out."""
    alike: dict[tuple[str, str], list[str]] = {}
    for one, text in faults:
        before, named, after = text.partition(one)
        alike.setdefault((before, after) if named else (text, ""), []).extend([one] if named else [])
    return [f"{before}{ids_in_short(ids)}{after}" for (before, after), ids in alike.items() if before or after]


def _next(text: str) -> str:
    """The id that follows in a sequence; "" where it ends in no number, or in one of nines only."""
    match = _NUMBERED.fullmatch(text)
    if match is None or not match["number"].strip("9"):
        return ""
    return f"{match['stem']}{int(match['number']) + 1:0{len(match['number'])}d}"
