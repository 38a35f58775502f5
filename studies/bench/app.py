"""What the page may ask for: a route for each thing, in JSON, and nothing by a path of its own."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Awaitable, Callable
from functools import cache
from importlib import resources
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from studies.answer.listening.panel import script_of
from studies.answer.report.rendering import render
from studies.bench.asking import AskError
from studies.bench.editing import EditError
from studies.bench.folder import FolderError
from studies.bench.workbench import Workbench
from studies.measured.text_files import LARGEST_FILE

MOST_JSON = 2**21
"""Bytes of a message from the page; the largest design is half as large."""
STATIC = {
    "bench.css": "text/css", "begin.js": "text/javascript", "bench.js": "text/javascript",
    "form.js": "text/javascript",
    "section.js": "text/javascript", "charts.js": "text/javascript",
    "questions.js": "text/javascript", "server.js": "text/javascript",
    "preact-htm.js": "text/javascript",
}  # fmt: skip
LISTENING = {"sounds.js": "text/javascript", "listening.js": "text/javascript",
             "listening.css": "text/css"}  # fmt: skip
TYPES = {".html": "text/html; charset=utf-8", ".pdf": "application/pdf", ".csv": "text/csv",
         ".json": "application/json", ".svg": "image/svg+xml", ".png": "image/png"}  # fmt: skip
Handler = Callable[[Request], Awaitable[Response]]


def app_of(bench: Workbench) -> Starlette:
    """Return the application, without its guard."""
    routes = _Routes(bench)
    asked: dict[str, Callable[[Any], Any]] = {
        "draft": lambda given: bench.draft(given),
        "open": lambda given: bench.open(_text(given, "name")),
        "save": lambda given: bench.save(_text(given, "name")),
        "edit": lambda given: bench.edit(
            _text(given, "key"), _text(given, "action"), _text(given, "value", needed=False)
        ),
        "text": lambda given: bench.replace(
            _text(given, "text"), _text(given, "name", needed=False)
        ),
        "step": lambda given: bench.step(-1 if _text(given, "way") == "back" else 1),
        "pin": lambda given: bench.pin(bool(given.get("on"))),
        "listen": lambda given: bench.listen(),
        "voicing": lambda given: bench.voicing(),
        "cost": lambda given: bench.cost(_text(given, "name"), *_chosen(given)),
        "ask": lambda given: bench.ask(_text(given, "name"), *_chosen(given)),
        "again": lambda given: bench.again(_number(given)),
        "adopt": lambda given: bench.adopt(_number(given)),
        "cancel": lambda given: bench.runs.cancel(_number(given)),
        "forget": lambda given: bench.runs.forget(_number(given)),
        "end": lambda given: bench.end(),
    }
    return Starlette(
        routes=[
            Route("/", routes.page),
            Route("/static/{name}", routes.static),
            Route("/state", routes.state),
            Route("/events", routes.events),
            Route("/design", routes.design),
            Route("/answers/{number:int}/{name}", routes.answer),
            Route("/answers/{number:int}", routes.everything),
            Route("/files/{name}", routes.take, methods=["PUT"]),
            *(
                Route(f"/do/{name}", _posted(do), methods=["POST"], name=name)
                for name, do in asked.items()
            ),
        ],
        exception_handlers={
            EditError: _refused,
            AskError: _refused,
            FolderError: _refused,
            KeyError: _missing,
        },
    )


class _Routes:
    """What is fetched."""

    def __init__(self, bench: Workbench) -> None:
        self._bench = bench

    async def page(self, request: Request) -> Response:
        return HTMLResponse(render("bench.html.j2", "studies.bench"))

    async def static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name == "plotly.js":
            return Response(plotly_script(), media_type="text/javascript")
        if name in LISTENING:
            return Response(script_of(name), media_type=f"{LISTENING[name]}; charset=utf-8")
        if name not in STATIC:
            raise HTTPException(404)
        content = (resources.files("studies.bench") / "static" / name).read_bytes()
        return Response(content, media_type=f"{STATIC[name]}; charset=utf-8")

    async def state(self, request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(self._bench.state))

    async def events(self, request: Request) -> Response:
        stream = self._bench.channel.stream()
        return StreamingResponse(stream, media_type="text/event-stream")

    async def design(self, request: Request) -> Response:
        edition = self._bench.desk.edition
        if edition is None:
            raise HTTPException(404)
        return _download(edition.path.name, edition.text.encode("utf-8"), "application/toml")

    async def answer(self, request: Request) -> Response:
        number, name = request.path_params["number"], request.path_params["name"]
        content = await run_in_threadpool(self._bench.file_of, number, name)
        suffix = name[name.rfind(".") :]
        kind = TYPES.get(suffix, "application/octet-stream")
        if suffix == ".html":
            return Response(content, media_type=kind)
        return _download(name, content, kind)

    async def everything(self, request: Request) -> Response:
        run = self._bench.runs.run(request.path_params["number"])
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for name in run.files:
                archive.writestr(name, self._bench.file_of(run.number, name))
        return _download(f"{run.folder}.zip", packed.getvalue(), "application/zip")

    async def take(self, request: Request) -> Response:
        content = await _body(request, LARGEST_FILE)
        await run_in_threadpool(self._bench.take, request.path_params["name"], content)
        return JSONResponse({})


def _posted(do: Callable[[Any], Any]) -> Handler:
    """A route that takes a JSON object, does something in a thread and returns what it returns."""

    async def handle(request: Request) -> Response:
        raw = await _body(request, MOST_JSON)
        try:
            given = json.loads(raw)
        except (ValueError, RecursionError):
            raise HTTPException(400, "no JSON") from None
        if not isinstance(given, dict):
            raise HTTPException(400, "no JSON object")
        return JSONResponse(await run_in_threadpool(do, given) or {})

    return handle


async def _body(request: Request, most: int) -> bytes:
    """The body of a request, as long as it is no larger than it may be."""
    found = bytearray()
    async for part in request.stream():
        found += part
        if len(found) > most:
            raise HTTPException(413, f"at most {most // 2**20} MiB")
    return bytes(found)


def _text(given: dict[str, Any], key: str, *, needed: bool = True) -> str:
    value = given.get(key, "" if not needed else None)
    if not isinstance(value, str):
        raise HTTPException(400, f"{key} must be text")
    return value


def _number(given: dict[str, Any]) -> int:
    value = given.get("number")
    if not isinstance(value, int):
        raise HTTPException(400, "number must be a whole number")
    return value


def _chosen(given: dict[str, Any]) -> tuple[dict[str, str], list[str]]:
    options, files = given.get("options", {}), given.get("files", [])
    plain = isinstance(options, dict) and isinstance(files, list)
    if not plain or not all(isinstance(one, str) for one in (*options.values(), *files)):
        raise HTTPException(400, "options must be text")
    return options, files


def _download(name: str, content: bytes, kind: str) -> Response:
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._- ") else "_" for c in name)
    return Response(
        content,
        media_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{plain}"'},
    )


@cache
def plotly_script() -> bytes:
    """Plotly's own program."""
    from plotly.offline import get_plotlyjs

    return str(get_plotlyjs()).encode("utf-8")


async def _refused(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": str(error)}, status_code=422)


async def _missing(request: Request, error: Exception) -> Response:
    return JSONResponse({"refused": "there is no such thing any more"}, status_code=404)
