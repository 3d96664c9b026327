"""Photos from phones: taken in, answered, and labels read in a picture that is not kept."""

from collections.abc import AsyncIterator
from concurrent.futures import BrokenExecutor, Executor
from contextlib import ExitStack, suppress
from http import HTTPStatus
from threading import Lock

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from farm.lists import shelf_round
from farm.records import known_photos, list_vessels
from farm.store.errors import PictureFaultError
from farm.workers import interrupts_held, own_workers
from phone.answers import Answer, answer_of, round_lines
from phone.measure_jobs import labels_in, stand_back
from phone.pages import vessel_address
from phone.render import part, words_for
from phone.site_state import SiteState
from phone.uploads import LARGEST_PHOTO, RefusedPhotoError, is_hash, kept_photo, take_in

#: So many photos may wait to be measured; a phone keeps the others until there is room.
MOST_WAITING = 400
_MOST_ASKED = 60
_LARGEST_SCAN = 12_000_000
_SCAN_SECONDS = 20
_RETRY_SECONDS = "15"


class PhotoRoutes:
    """The handlers of photos."""

    def __init__(self, site: SiteState) -> None:
        self._site = site
        self._scanner = Scanner()

    def close(self) -> None:
        """End the process that reads labels."""
        self._scanner.close()

    async def put(self, request: Request) -> Response:
        """Take in a photo under the hash of its content; sent twice it is kept once."""
        words = words_for(request)
        photo_hash = request.path_params["photo_hash"]
        if not is_hash(photo_hash):
            return JSONResponse({"error": words("refused.no_picture")}, HTTPStatus.NOT_FOUND)
        pieces = request.stream()
        if kept_photo(self._site.farm, photo_hash) or known_photos(self._site.farm, [photo_hash]):
            await _read_on(pieces)
            return JSONResponse({"state": "known"}, headers={"Connection": "close"})
        if self._site.measuring.n_waiting >= MOST_WAITING or not self._site.uploads.take(request.state.phone.id):
            await _read_on(pieces)
            return JSONResponse(
                {"error": words("refused.later")},
                HTTPStatus.SERVICE_UNAVAILABLE,
                {"Retry-After": _RETRY_SECONDS, "Connection": "close"},
            )
        announced = request.headers.get("content-length", "")
        try:
            taken = await take_in(
                self._site.farm,
                photo_hash,
                pieces,
                announced=int(announced) if announced.isascii() and announced.isdecimal() else None,
                taken_ms=request.headers.get("x-taken-ms", ""),
            )
        except RefusedPhotoError as refused:
            if refused.status != HTTPStatus.REQUEST_ENTITY_TOO_LARGE:
                await _read_on(pieces)
            error = words(f"refused.{refused.key}")
            return JSONResponse({"error": error}, refused.status, {"Connection": "close"})
        except ClientDisconnect:
            return Response(status_code=HTTPStatus.BAD_REQUEST)
        self._site.measuring.add(taken.photo_hash, taken.path)
        return JSONResponse({"state": "waiting"}, HTTPStatus.CREATED)

    def answers(self, request: Request) -> Response:
        """What became of some photos, and what the round of the shelves still misses."""
        words = words_for(request)
        asked = [one for one in request.query_params.get("of", "").split(",")[:_MOST_ASKED] if is_hash(one)]
        found = [answer_of(self._site.farm, self._site.measuring, words, one) for one in asked]
        answers = [self._shown(request, one) for one in found if one is not None]
        shelves = shelf_round(self._site.farm, list_vessels(self._site.farm))
        html = part(request, "round.html", shelves=shelves, missed=round_lines(words, shelves))
        return JSONResponse({"answers": answers, "round": html, "waiting": self._site.measuring.n_waiting})

    async def scan(self, request: Request) -> Response:
        """The vessels whose labels are in a picture; the picture is not kept."""
        from starlette.concurrency import run_in_threadpool

        words = words_for(request)
        if not self._site.scans.take(request.state.phone.id):
            return JSONResponse({"error": words("refused.later")}, HTTPStatus.TOO_MANY_REQUESTS)
        content = b""
        async for piece in request.stream():
            content += piece
            if len(content) > _LARGEST_SCAN:
                return JSONResponse(
                    {"error": words("refused.too_large")},
                    HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                    {"Connection": "close"},
                )
        try:
            texts = await run_in_threadpool(self._scanner.read, content)
        except PictureFaultError:
            return JSONResponse({"error": words("refused.no_picture")}, HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
        known = {one.id for one in list_vessels(self._site.farm, ids=texts)}
        vessels = [{"id": one, "address": vessel_address(one)} for one in texts if one in known]
        unknown = ", ".join(one for one in texts if one not in known)
        error = "" if vessels else words("scan.unknown", label=unknown) if unknown else words("scan.nothing")
        return JSONResponse({"vessels": vessels, "error": error})

    def _shown(self, request: Request, answer: Answer) -> dict[str, str]:
        html = part(request, "answer.html", answer=answer)
        return {"hash": answer.photo_hash, "state": answer.state, "html": html}


async def _read_on(pieces: AsyncIterator[bytes]) -> None:
    """Read what still comes of a photo that is not taken in, up to the largest.

    A phone that is cut off while it sends may never read the answer (RFC 9112, section 9.6), and would send it again.
    """
    size = 0
    with suppress(ClientDisconnect):
        async for piece in pieces:
            size += len(piece)
            if size > LARGEST_PHOTO:
                return


class Scanner:
    """A process that reads labels in pictures, started by the first one: a hostile picture reaches no page."""

    def __init__(self) -> None:
        self._stack = ExitStack()
        self._pool: Executor | None = None
        self._lock = Lock()

    def read(self, content: bytes) -> list[str]:
        """The labels in a picture. Raises PictureFaultError."""
        with self._lock:
            if self._pool is None:
                self._pool = self._stack.enter_context(own_workers(1))
                with interrupts_held():
                    self._pool.submit(stand_back)
            try:
                with interrupts_held():
                    future = self._pool.submit(labels_in, content)
                return future.result(timeout=_SCAN_SECONDS)
            except (BrokenExecutor, TimeoutError):
                self._end()
                raise PictureFaultError("it could not be read") from None

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._end()

    def _end(self) -> None:
        stack, self._stack, self._pool = self._stack, ExitStack(), None
        # By an exception its process is killed at once, whatever it does.
        stack.__exit__(KeyboardInterrupt, KeyboardInterrupt(), None)
