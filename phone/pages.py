"""The pages and what their buttons do; what changes the farm is told in the bar of the phone that did it."""

from collections.abc import Callable
from datetime import timedelta
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from farm.lists import shelf_round
from farm.store import on_farm_clock
from farm.store.errors import SpawnrunError, UnknownVesselError
from phone.answers import round_lines
from phone.keys import PairingError, Phone
from phone.qr import pairing_path, qr_svg
from phone.render import LANGUAGE_COOKIE, go_to, page, words_for
from phone.review_page import caution_words, field_text, judge, review_page
from phone.site_state import SiteState
from phone.ticks import Told, take_back, tick
from phone.today_page import shelf_names, today_page
from phone.vessel_page import vessel_page
from phone.vessel_rows import vessel_list
from phone.words import LANGUAGES, Words

#: How long a phone stays paired unless it is revoked: browsers keep no cookie for longer.
_COOKIE_LASTS = int(timedelta(days=400).total_seconds())
_LONGEST_BACK = 1000
_PAGES = ("/", "/take", "/review", "/vessels", "/more")

Handler = Callable[[Request], Response]


class Pages:
    """The handlers of the pages of one farm. Each runs in a thread of its own."""

    def __init__(self, site: SiteState) -> None:
        self._site = site

    def today(self, request: Request) -> Response:
        """Today's list."""
        words, shown = words_for(request), self._site.state.shown()
        return page(self._site, request, "today.html", page=today_page(self._site.farm, words, shown))

    def take(self, request: Request) -> Response:
        """Take photos, and the round of the shelves."""
        words, shown = words_for(request), self._site.state.shown()
        shelves = shelf_round(self._site.farm, [one.vessel for one in shown.outlooks.values()])
        return page(self._site, request, "take.html", shelves=shelves, missed=round_lines(words, shelves))

    def review(self, request: Request) -> Response:
        """What waits for a verdict."""
        words, state = words_for(request), self._site.state
        shown = state.shown()
        readings = state.readings({one.vessel for one in shown.review})
        facts = review_page(self._site.farm, words, shown, readings)
        return page(self._site, request, "review.html", page=facts, by=self._site.bars.by(_phone(request).id))

    def vessels(self, request: Request) -> Response:
        """Find a vessel: by its id, by its label, or in the list. An id that is known leads to its page."""
        words, shown = words_for(request), self._site.state.shown()
        wanted = request.query_params.get("id", "").strip().upper()
        if wanted in shown.outlooks:
            return go_to(vessel_address(wanted))
        found = [item for item in shown.items if wanted in item.outlook.vessel.id]
        listed = vessel_list(self._site.farm, words, found or shown.items)
        return page(self._site, request, "vessels.html", listed=listed, wanted=wanted, is_found=bool(found))

    def vessel(self, request: Request) -> Response:
        """One vessel."""
        words, state = words_for(request), self._site.state
        try:
            facts = vessel_page(state, words, request.path_params["vessel"])
        except UnknownVesselError:
            told = words("vessel.unknown", vessel=request.path_params["vessel"])
            return page(self._site, request, "nothing.html", status=HTTPStatus.NOT_FOUND, text=told)
        return page(self._site, request, "vessel.html", page=facts, shelf_names=shelf_names(state.shown()))

    def more(self, request: Request) -> Response:
        """Language, phones, cautions, and what this connection protects from."""
        words, zone = words_for(request), self._site.farm.zone
        phones = [(one, words.time(on_farm_clock(one.seen_at, zone))) for one in self._site.keys.phones()]
        is_tls, cautions = self._site.site.is_tls, caution_words(words)
        return page(self._site, request, "more.html", phones=phones, is_tls=is_tls, cautions=cautions)

    def tick(self, request: Request) -> Response:
        """Note what was done with vessels."""
        items = self._site.state.shown().items
        return self._change(request, lambda words, form: tick(self._site.farm, words, form, items))

    def verdict(self, request: Request) -> Response:
        """Keep a verdict."""
        form = request.state.form
        if by := field_text(form, "by"):
            self._site.bars.judges_as(_phone(request).id, by)
        return self._change(request, lambda words, form: judge(self._site.state, words, form))

    def undo(self, request: Request) -> Response:
        """Take back what a form names."""
        by = self._site.bars.by(_phone(request).id)
        return self._change(request, lambda words, form: take_back(self._site.farm, words, form, by))

    def hide_bar(self, request: Request) -> Response:
        """Put the bar away."""
        self._site.bars.tell(_phone(request).id, None)
        return _go_back(request)

    def language(self, request: Request) -> Response:
        """Choose the language of this phone."""
        answer = go_to("/more")
        wanted = request.state.form.get("language", "")
        if wanted in LANGUAGES:
            secure = self._site.site.is_tls
            answer.set_cookie(
                LANGUAGE_COOKIE, wanted, max_age=_COOKIE_LASTS, httponly=True, samesite="strict", secure=secure
            )
        return answer

    def revoke(self, request: Request) -> Response:
        """Unpair a phone."""
        words = words_for(request)
        gone = self._site.keys.revoke(request.state.form.get("phone", "")[:60])
        names = ", ".join(one.name for one in gone)
        told = Told(words("told.revoked", name=names)) if gone else Told(words("told.no_phone"), is_refusal=True)
        self._site.bars.tell(_phone(request).id, told)
        return go_to("/more")

    def invite(self, request: Request) -> Response:
        """A code on this screen that pairs another phone."""
        code = self._site.keys.new_code()
        address = f"{self._site.site.address}{pairing_path(code)}"
        qr = qr_svg(address) if self._site.site.is_lan else ""  # no phone reaches an address of this machine alone
        return page(self._site, request, "invite.html", code=code, address=self._site.site.address, qr=qr)

    def pairing(self, request: Request) -> Response:
        """Where a code is entered; the one of a QR code is filled in by the page's script."""
        return page(self._site, request, "pair.html", told_why="", code="")

    def pair(self, request: Request) -> Response:
        """Use up a code."""
        words, form = words_for(request), request.state.form
        client = request.client.host if request.client else ""
        if not self._site.pairing.take(client):
            return self._not_paired(request, words("pair.too_often"), HTTPStatus.TOO_MANY_REQUESTS)
        try:
            _, cookie = self._site.keys.pair(form.get("code", "")[:80], form.get("name", ""))
        except PairingError:
            return self._not_paired(request, words("pair.wrong"), HTTPStatus.FORBIDDEN)
        answer = go_to(form["next"] if form.get("next") in _PAGES else "/")
        answer.set_cookie(
            self._site.site.cookie,
            cookie,
            max_age=_COOKIE_LASTS,
            httponly=True,
            samesite="strict",
            secure=self._site.site.is_tls,
        )
        return answer

    def _not_paired(self, request: Request, why: str, status: HTTPStatus) -> Response:
        return page(self._site, request, "pair.html", status=status, told_why=why, code="")

    def _change(self, request: Request, do: Callable[[Words, dict[str, str]], Told]) -> Response:
        """Do it, tell it in the phone's bar, and go back to the page it came from."""
        words = words_for(request)
        try:
            told = do(words, request.state.form)
        except (SpawnrunError, ValueError) as error:
            told = Told(words("told.not_done", why=error), is_refusal=True)
        self._site.state.forget()
        self._site.bars.tell(_phone(request).id, told)
        return _go_back(request)


def vessel_address(vessel: str) -> str:
    """The path of a vessel's page."""
    return f"/vessel/{quote(vessel, safe='')}"


def _phone(request: Request) -> Phone:
    """The phone that asks; the guard let nobody else through."""
    phone: Any = request.state.phone
    if not isinstance(phone, Phone):
        raise TypeError("a page for paired phones was reached without one")
    return phone


def _go_back(request: Request) -> Response:
    """To the page that a form came from, by its own word: one of ours in any case.

    The word is a path and, apart by spaces, what is unfolded there.
    """
    wanted = str(request.state.form.get("back", ""))
    if wanted.startswith("/vessel/"):
        return go_to(vessel_address(wanted.removeprefix("/vessel/")[:60]))
    path, *opened = wanted[:_LONGEST_BACK].split() or ["/"]
    return go_to(path, opened) if path in _PAGES else go_to("/")
