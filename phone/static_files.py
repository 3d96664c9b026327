"""The files that every page is made of: style, scripts, icons, manifest. None of them is the farm's."""

import hashlib
import json
from functools import lru_cache
from http import HTTPStatus
from importlib.resources import files

from starlette.requests import Request
from starlette.responses import Response

from phone.render import words_for

_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
#: The style is made of these; the colours and the curve are those of the report.
_STYLE = (("report", "templates/palette.css"), ("report", "templates/curve.css"), ("phone", "static/app.css"))


def static_file(request: Request) -> Response:
    """A file by its name; there are no others."""
    name = request.path_params.get("name", "worker.js")
    content = _contents().get(name)
    if content is None:
        return Response("nothing here\n", HTTPStatus.NOT_FOUND, media_type="text/plain")
    kind = _TYPES[f".{name.rpartition('.')[2]}"]
    return _answer(request, content, kind)


def manifest(request: Request) -> Response:
    """What a phone needs to put the page among its applications (W3C, Web Application Manifest)."""
    words = words_for(request)
    facts = {
        "name": words("app.name"),
        "short_name": words("app.short_name"),
        "lang": words.language,
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#fbfaf7",
        "theme_color": "#245b4e",
        "icons": [
            {"src": "/static/icon-192.png", "sizes": "192x192", "type": "image/png"},
            {"src": "/static/icon-512.png", "sizes": "512x512", "type": "image/png"},
            {"src": "/static/icon-maskable.png", "sizes": "512x512", "type": "image/png", "purpose": "maskable"},
        ],
    }
    return _answer(request, json.dumps(facts).encode(), "application/manifest+json")


def style_mark() -> str:
    """A short text that changes with any of the files: the offline copies of older ones are then dropped."""
    return hashlib.sha256(b"".join(content for _, content in sorted(_contents().items()))).hexdigest()[:16]


def _answer(request: Request, content: bytes, kind: str) -> Response:
    mark = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"Cache-Control": "no-cache", "ETag": mark}
    if request.headers.get("if-none-match") == mark:
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    return Response(content, media_type=kind, headers=headers)


@lru_cache(maxsize=1)
def _contents() -> dict[str, bytes]:
    folder = files("phone") / "static"
    found = {one.name: one.read_bytes() for one in folder.iterdir() if f".{one.name.rpartition('.')[2]}" in _TYPES}
    found["app.css"] = b"\n".join((files(package) / name).read_bytes() for package, name in _STYLE)
    return found
