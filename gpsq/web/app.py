"""The page's addresses: each reads a form, asks the desk, and answers with the page, or in short for its script."""

from __future__ import annotations

import asyncio
import contextlib
import io
import zipfile
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from gpsq.exceptions import GpsqError, OutputError
from gpsq.output.drawing.rendering import following
from gpsq.output.folder_swap import written_names
from gpsq.output.map.page import leaflet
from gpsq.settings import RESULTS
from gpsq.web import campaign_edits, pages
from gpsq.web.dropped_files import MOST_FILES, PUBLISHED
from gpsq.web.guard import DROP, POLICY_OF_MAP, POLICY_OF_PAGES, POLICY_OF_RESULTS, Guard, same_token
from gpsq.web.incoming import OLDER, Incoming, Slice, disk_in

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable
    from concurrent.futures import Future
    from pathlib import Path

    from starlette.datastructures import FormData
    from starlette.requests import Request

    from gpsq.web.session import Desk

    Handler = Callable[[Request], Awaitable[Response]]

#: A form without script waits this long for the effect before it shows the page again.
WAIT_S = 4.0
#: Signs of a name, a title or a time.
MOST_TEXT = 100
_OWN = {"page.css": "text/css"} | dict.fromkeys(("page.js", "places.js", "copy.js"), "text/javascript")
_LEAFLET = {"leaflet.js": "text/javascript", "leaflet.css": "text/css"}


def make_app(desk: Desk, port: int) -> Starlette:
    """Return the page for one desk, served at `port` of this computer."""

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        await run_in_threadpool(desk.open)
        yield
        desk.close()

    addresses = _Addresses(desk)
    return Starlette(
        routes=[
            Route("/", addresses.page),
            Route("/status", addresses.status),
            Route("/static/{name}", _static),
            Route(f"/{RESULTS}/{{name:path}}", addresses.result),
            Route("/published/{name:path}", addresses.published),
            Route("/everything.zip", addresses.everything),
            Route(DROP, addresses.drop, methods=["POST"]),
            *(Route(f"/{name}", addresses.form(name), methods=["POST"]) for name in _FORMS),
        ],
        middleware=[Middleware(Guard, port=port)],
        exception_handlers={
            HTTPException: addresses.refused, GpsqError: addresses.refused, OSError: addresses.refused,
        },
        lifespan=lifespan,
    )  # fmt: skip


class _Addresses:
    """What is answered at each address."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def page(self, request: Request) -> Response:
        """Show the page; files that changed meanwhile are analysed first."""
        await run_in_threadpool(self.desk.refresh)
        return HTMLResponse(await run_in_threadpool(pages.page, self.desk))

    async def status(self, request: Request) -> Response:
        """Tell the page's script how far things are."""
        return JSONResponse(pages.status(self.desk))

    async def drop(self, request: Request) -> Response:
        """Store dropped files, then analyse unless more are announced."""
        await run_in_threadpool(self.desk.check_folder)
        if not request.headers.get("content-type", "").startswith("multipart/form-data"):
            async with _form(request, self.desk.token) as form:
                return _answer(request, "/#add", {"received": []})
        with disk_in(self.desk.folder) as disk:
            form = await Incoming(request, disk, self.desk.token, MOST_FILES).read()
            files = [f for _, f in form.multi_items() if isinstance(f, Slice) and f.filename]
            path = _text(form, "path") if len(files) == 1 else ""
            lines = [
                await run_in_threadpool(self.desk.receive, path or str(file.filename), file.content()) for file in files
            ]
        if "more" not in form and lines:
            answer = self.desk.analyse()
            if not _by_script(request):
                await _settled(answer)
        return _answer(request, "/#add", {"received": [line.said for line in lines]})

    def form(self, name: str) -> Handler:
        """Return what answers one of the small forms."""

        async def answered(request: Request) -> Response:
            async with _form(request, self.desk.token) as form:
                request.state.about = _about(name, form)
                answer, place = await run_in_threadpool(_FORMS[name], self.desk, form)
            if answer is not None and not _by_script(request):
                await _settled(answer)
            return _answer(request, place, {"ok": True})

        return answered

    async def result(self, request: Request) -> Response:
        """Hand out a file of the results, written first if need be."""
        name = request.path_params["name"]
        if name == "map.html" and self.desk.results is not None:
            return _result("map.html", pages.framed_map(self.desk.results.map_page).encode())
        await asyncio.wrap_future(self.desk.write())
        answer = await run_in_threadpool(_file, self.desk.folder / RESULTS, name)
        if "as" in request.query_params and answer.media_type == _KINDS[".svg"]:
            answer = _result(name, following(bytes(answer.body).decode()).encode())
        return answer

    async def published(self, request: Request) -> Response:
        """Hand out a file of what was made fit to publish."""
        name = request.path_params["name"]
        folder = self.desk.folder / PUBLISHED
        if self.desk.published is None:
            raise HTTPException(404, "Nothing was made fit to publish since the page was opened.")
        return await run_in_threadpool(_archive if name == "everything.zip" else _file, folder, name)

    async def everything(self, request: Request) -> Response:
        """Hand out all results as one archive."""
        await asyncio.wrap_future(self.desk.write())
        return await run_in_threadpool(_archive, self.desk.folder / RESULTS, "results.zip")

    async def refused(self, request: Request, error: Exception) -> Response:
        """Answer a refusal with its one plain line, on the page or to its script."""
        status, why = _why(error)
        if _by_script(request):
            return JSONResponse({"problem": why}, status)
        about = getattr(request.state, "about", pages.NOTHING)
        return HTMLResponse(await run_in_threadpool(pages.page, self.desk, why, about), status)


def _flag(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    ids = [str(value) for value in form.getlist("id")]
    answer = desk.flag(ids, _text(form, "decision"), _text(form, "note")[:1000])
    return answer, f"/#d-{ids[0]}"


def _start(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    texts = (_text(form, name)[:MOST_TEXT] for name in ("started", "zone"))
    return desk.set_start(_text(form, "file"), *texts), "/#starts"


def _device(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    return desk.rename(_text(form, "old"), _text(form, "new")[:MOST_TEXT]), "/#devices"


def _title(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    return desk.describe("title", _text(form, "title")[:MOST_TEXT]), "/#devices"


def _zone(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    return desk.describe("time_zone", _text(form, "zone")[:MOST_TEXT]), "/#starts"


def _place(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    desk.check_folder()
    numbers = [_number(form, name) for name in ("lat", "lon", "radius_m")]
    (campaign_edits.remove_place if "remove" in form else campaign_edits.add_place)(desk.folder, *numbers)
    return None, "/#places"


def _way(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    return desk.name_way(_text(form, "route"), _text(form, "way")[:MOST_TEXT]), "/#devices"


def _paste(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    desk.look_at_log(_text(form, "log"), _text(form, "zone")[:MOST_TEXT])
    return None, "/#paste"


def _keep(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    return desk.keep_log(), "/#starts"


def _analyse(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    desk.check_folder()
    desk.analyse()
    return None, "/"


def _cancel(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    desk.cancel()
    return None, "/"


def _publish(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    answer = desk.publish()
    answer.result()
    return None, "/#take"


def _preview(desk: Desk, form: FormData) -> tuple[Future[Any] | None, str]:
    desk.look_at_cuts().result()
    return None, "/#take"


_FORMS: dict[str, Callable[[Desk, FormData], tuple[Future[Any] | None, str]]] = {
    "flag": _flag, "start": _start, "device": _device, "title": _title, "zone": _zone, "way": _way, "paste": _paste,
    "keep": _keep, "place": _place, "analyse": _analyse, "cancel": _cancel, "publish": _publish, "preview": _preview,
}  # fmt: skip


@contextlib.asynccontextmanager
async def _form(request: Request, token: str) -> AsyncIterator[FormData]:
    """Read a form and check its token; nothing is done before that."""
    async with request.form(max_files=0, max_fields=MOST_FILES) as form:
        if not same_token(request.headers.get("x-gpsq-token", form.get("token")), token):
            raise HTTPException(403, OLDER)
        yield form


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def _about(name: str, form: FormData) -> pages.About:
    """Return which small form it is, and what the person typed into it, to be shown again where it is refused."""
    whose = _text(form, "file") or _text(form, "old") or _text(form, "route")
    typed = next((_text(form, name) for name in ("started", "new", "title", "way", "zone") if name in form), "")
    return pages.About(f"{name} {whose}", typed)


def _number(form: FormData, name: str) -> float:
    try:
        return float(_text(form, name))
    except ValueError:
        return float("nan")


def _by_script(request: Request) -> bool:
    return request.headers.get("accept", "").startswith("application/json")


def _answer(request: Request, place: str, told: dict[str, Any]) -> Response:
    return JSONResponse(told) if _by_script(request) else RedirectResponse(place, 303)


async def _settled(answer: Future[Any]) -> None:
    with contextlib.suppress(TimeoutError, GpsqError):  # the page tells what came of it
        await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(answer)), WAIT_S)


def _why(error: Exception) -> tuple[int, str]:
    if isinstance(error, HTTPException):
        return error.status_code, str(error.detail)
    if isinstance(error, OutputError):
        return 409, str(error)
    if isinstance(error, GpsqError):
        return 400, str(error)
    strerror = getattr(error, "strerror", None) or str(error)
    return 409, f"{getattr(error, 'filename', None) or 'The folder'}: {strerror}"


def _file(folder: Path, name: str) -> Response:
    """Return a file that gpsq wrote; the name is only compared with names, never made a path."""
    known = {written: folder / written for written in written_names(folder) or ()}
    path = known.get(name)
    if path is None or not path.resolve().is_relative_to(folder.resolve()) or not path.is_file():
        raise HTTPException(404, "There is no such file among the results.")
    return _result(path.name, path.read_bytes())


_KINDS = {".html": "text/html; charset=utf-8", ".svg": "image/svg+xml", ".png": "image/png"}


def _result(name: str, content: bytes) -> Response:
    """Return a file of the results: a page or picture to look at, in a place without rights, or a file to keep."""
    kind = next((kind for end, kind in _KINDS.items() if name.endswith(end)), None)
    policy = POLICY_OF_MAP if name == "map.html" else POLICY_OF_PAGES if name.endswith(".html") else POLICY_OF_RESULTS
    headers = {"Content-Security-Policy": policy}
    if kind is None:
        headers["Content-Disposition"] = "attachment"
    return Response(content, headers=headers, media_type=kind or "application/octet-stream")


def _archive(folder: Path, name: str) -> Response:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for written in sorted(written_names(folder) or ()):
            path = folder / written
            if path.resolve().is_relative_to(folder.resolve()) and path.is_file():
                archive.write(path, written)
    return _result(name, packed.getvalue())


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name in _OWN:
        return Response(pages.static(name), media_type=_OWN[name])
    if name in _LEAFLET:
        return Response(leaflet(name), media_type=_LEAFLET[name])
    raise HTTPException(404, "There is no such file.")
