"""Fill in the pages' templates, in the language of the phone."""

from collections.abc import Sequence
from http import HTTPStatus
from urllib.parse import quote, urlencode

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from phone.site_state import SiteState
from phone.words import LANGUAGES, Words, chosen_language, words_of
from report import templates_of

LANGUAGE_COOKIE = "language"
#: Parts of a page that its address may name as unfolded.
MOST_OPENED = 3


def words_for(request: Request) -> Words:
    """The words of the language that this phone wants."""
    wanted = request.cookies.get(LANGUAGE_COOKIE, "")
    return words_of(chosen_language(wanted, request.headers.get("accept-language", "")))


def page(
    site: SiteState, request: Request, template: str, *, status: HTTPStatus = HTTPStatus.OK, **values: object
) -> HTMLResponse:
    """A page for this phone, with the bar of its last change."""
    phone = request.state.phone
    told = site.bars.told(phone.id) if phone else None
    return HTMLResponse(part(request, template, told=told, farm=site.farm.folder.resolve().name, **values), status)


def part(request: Request, template: str, **values: object) -> str:
    """A filled-in template, for a page or a piece of one."""
    words = words_for(request)
    opened = request.query_params.getlist("open")[:MOST_OPENED] if request.url.path == "/" else []
    shared = {
        "t": words,
        "token": request.state.token,
        "phone": request.state.phone,
        "here": request.url.path,
        "opened": opened,
        "back": " ".join((request.url.path, *opened)),
        "languages": LANGUAGES,
    }
    return templates_of("phone", "report").get_template(template).render(**(shared | values))


def go_to(path: str, opened: Sequence[str] = ()) -> RedirectResponse:
    """On to another page after a change, so that reloading it changes nothing again.

    opened: ids of its parts that are to be unfolded, also without a script; the first of them is moved to.
    """
    query = urlencode([("open", one) for one in opened[:MOST_OPENED]])
    return RedirectResponse(f"{path}?{query}#{quote(opened[0], safe='%')}" if opened else path, HTTPStatus.SEE_OTHER)
