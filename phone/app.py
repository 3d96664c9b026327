"""The application: which path leads to which handler, behind the guard."""

import traceback
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from http import HTTPStatus
from threading import Thread

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from farm.records import known_photos
from farm.store.errors import SpawnrunError
from phone.guard import Guard
from phone.pages import Pages
from phone.photo_routes import PhotoRoutes
from phone.site_state import SiteState
from phone.static_files import manifest, static_file
from phone.uploads import clear_parts, kept_photos

_PICTURES_KEEP = "private, max-age=604800, immutable"


def make_app(site: SiteState) -> ASGIApp:
    """The application of one farm; its measuring runs from its start to its end."""
    pages, photos = Pages(site), PhotoRoutes(site)

    @asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        Thread(target=_take_up, args=(site,), name="left over photos", daemon=True).start()
        site.measuring.start()
        try:
            yield
        finally:
            site.measuring.stop()
            photos.close()

    app = Starlette(
        routes=_routes(site, pages, photos),
        lifespan=life,
        exception_handlers={SpawnrunError: _farm_fault, HTTPException: _refusal, Exception: _fault},
    )
    return Guard(app, site.site, site.keys)


def _routes(site: SiteState, pages: Pages, photos: PhotoRoutes) -> list[Route]:
    def picture(request: Request) -> Response:
        jpeg = site.pictures.jpeg(request.path_params["path"])
        if jpeg is None:
            return PlainTextResponse("no such picture\n", HTTPStatus.NOT_FOUND)
        return Response(jpeg, media_type="image/jpeg", headers={"Cache-Control": _PICTURES_KEEP})

    def get(path: str, do: Callable[..., object]) -> Route:
        return Route(path, do, methods=["GET"])

    def post(path: str, do: Callable[..., object]) -> Route:
        return Route(path, do, methods=["POST"])

    return [
        get("/", pages.today),
        get("/take", pages.take),
        get("/review", pages.review),
        get("/vessels", pages.vessels),
        get("/vessel/{vessel:path}", pages.vessel),
        get("/more", pages.more),
        post("/tick", pages.tick),
        post("/verdict", pages.verdict),
        post("/undo", pages.undo),
        post("/hide", pages.hide_bar),
        post("/language", pages.language),
        post("/revoke", pages.revoke),
        post("/invite", pages.invite),
        get("/pair", pages.pairing),
        post("/pair", pages.pair),
        Route("/photos/{photo_hash}", photos.put, methods=["PUT"]),
        get("/answers", photos.answers),
        post("/scan", photos.scan),
        get("/picture/{path:path}", picture),
        get("/static/{name}", static_file),
        get("/worker.js", static_file),
        get("/manifest.webmanifest", manifest),
    ]


def _take_up(site: SiteState) -> None:
    """Measure what phones sent before the server was last ended."""
    clear_parts(site.farm)
    left = kept_photos(site.farm)
    known = known_photos(site.farm, left)
    for photo_hash, path in left.items():
        if photo_hash not in known:
            site.measuring.add(photo_hash, path)


def _farm_fault(_: Request, error: Exception) -> Response:
    """Records that are busy, or a server of records that is gone."""
    return PlainTextResponse(f"not done: {error}; reload the page to try again\n", HTTPStatus.SERVICE_UNAVAILABLE)


def _refusal(_: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else HTTPStatus.INTERNAL_SERVER_ERROR
    return PlainTextResponse(f"{HTTPStatus(status).phrase.lower()}\n", status)


def _fault(_: Request, error: Exception) -> Response:
    """A fault of ours; where it lies is printed by the server, and what was asked for is not."""
    where = traceback.extract_tb(error.__traceback__)[-1:]
    named = "".join(f"{one.name}, line {one.lineno}" for one in where)
    return PlainTextResponse(f"this program failed ({type(error).__name__} in {named})\n", 500)
