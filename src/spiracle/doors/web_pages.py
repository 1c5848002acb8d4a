"""The built tablet: files of the package's web folder, its front page for every place in the app."""

from __future__ import annotations

import html
from importlib.resources import files
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response

from spiracle.doors.web_wire import turned_away
from spiracle.refusals import Unknown

FOREVER, ASK_FIRST = "public, max-age=31536000, immutable", "no-cache"
NOT_BUILT = """<!doctype html><html lang="en"><meta charset="utf-8"><title>Spiracle</title>
<h1>Spiracle</h1><p>The pages are not built. The server runs and stores entries; to see the app, build the tablet:
<code>python3 dev.py setup</code>.</p>{cautions}</html>"""


def web_folder() -> Path:
    return Path(str(files("spiracle"))) / "web"


class Pages:
    """Serves what the front-end build left. `folder` may be absent."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder.resolve()

    async def __call__(self, request: Request) -> Response:
        path = request.path_params.get("path", "")
        found = (self._folder / path).resolve() if path and "\0" not in path else None
        if found is not None and found.is_relative_to(self._folder) and found.is_file():
            return FileResponse(found, headers=_headers(path))
        if "." in path.rsplit("/", 1)[-1]:
            return turned_away(Unknown("page", f"{path[:80]!r} is not here.", "Open the front page."), 404)
        front = self._folder / "index.html"
        if front.is_file():
            return FileResponse(front, headers={"Cache-Control": ASK_FIRST})
        return HTMLResponse(NOT_BUILT.format(cautions=_cautions()), headers={"Cache-Control": "no-store"})


def _headers(path: str) -> dict[str, str]:
    """Built files carry a digest in their name and may be kept; the front page and the worker are asked for each time."""
    if path.rsplit("/", 1)[-1] == "sw.js":
        return {"Cache-Control": ASK_FIRST, "Service-Worker-Allowed": "/"}
    return {"Cache-Control": FOREVER if path.startswith("assets/") else ASK_FIRST}


def _cautions() -> str:
    from spiracle.sheets.cautions import STANDING

    return "<ul>" + "".join(f"<li>{html.escape(c)}</li>" for c in STANDING) + "</ul>"
