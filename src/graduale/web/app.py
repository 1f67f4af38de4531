"""Routes of the bench page. Each hands values to a use case and its answer to the page."""

import asyncio
import json
from collections.abc import AsyncIterator
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any, cast

import anyio.to_thread
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from graduale.base.findings import Refused
from graduale.jobs.bench import Workshop
from graduale.jobs.desk_state import MODES
from graduale.records.instrument import PlateName
from graduale.web.guard import Guard, TooLarge
from graduale.words.catalogue import say

_LOOK_S = 0.25  # how often an open page is told of what another one has entered
_SAID = (
    *("title", "book", "empty", "still", "left", "target", "read", "undo", "weigh", "accept"),
    *("strike", "now", "off", "weighed", "kept", "light", "dark", "station", "caution"),
    *("keys", "free", "estimate", "never"),
)


def app_of(workshop: Workshop) -> Starlette:
    """The application over an open workshop."""
    pages = Pages(workshop)
    static = Path(str(files("graduale.web") / "static"))
    routes = [
        Route("/", pages.home),
        Route("/book", pages.book),
        Route("/plate/{instrument}/{which}", pages.plate),
        Route("/api/{instrument}/{which}/state", pages.state),
        Route("/api/{instrument}/entries", pages.take, methods=["POST"]),
        Route("/api/{instrument}/changes", pages.changes),
        Mount("/static", StaticFiles(directory=static)),
    ]
    handlers: dict[Any, Any] = {
        Refused: _refused,
        TooLarge: _too_large,
        404: _gone,
    }
    return Starlette(routes=routes, middleware=[Middleware(Guard)], exception_handlers=handlers)


class Pages:
    """Handlers; work that reads or computes runs in a thread, so that the page stays quick."""

    def __init__(self, workshop: Workshop) -> None:
        self.workshop = workshop
        self.templates = Environment(
            loader=PackageLoader("graduale.web"), autoescape=True, undefined=StrictUndefined
        )

    async def home(self, request: Request) -> Response:
        """The plate last in hand, else the book."""
        found = await _in_thread(self.workshop.last_in_hand)
        return RedirectResponse("/book" if found is None else f"/plate/{found[0]}/{found[1]}", 303)

    async def book(self, request: Request) -> Response:
        """All instruments as outlines at one scale."""
        shelf = await _in_thread(self.workshop.shelf)
        return self._page("book.html", shelf=[_drawn(one) for one in shelf])

    async def plate(self, request: Request) -> Response:
        """The bench screen of one plate."""
        instrument, which = request.path_params["instrument"], _which(request)
        if which is None:
            return _gone_page()
        held = await _in_thread(partial(self.workshop.book.instrument, instrument))
        try:
            state = await _in_thread(partial(self.workshop.state, held.id, which, None, "still"))
        except Refused as refused:
            return self._page("wait.html", name=held.name, sentence=refused.findings[0].sentence)
        desk = await _in_thread(partial(self.workshop.desk, held.id, which))
        start = {
            "instrument": held.id,
            "which": which,
            "units": desk.instrument.workshop.units,
            "state": state,
            "words": {k: say(f"bench.{k}") for k in _SAID},  # keys stand in _SAID
            "offline": say("bench.offline", count="{count}"),
            "waiting": say("bench.waiting", count="{count}"),
            "needed": say("bench.needed", count="{count}"),
            "below": say("bench.below_here", t="{t}", place="{place}", floor="{floor}"),
        }
        other = "back" if which == "top" else "top"
        return self._page(
            "plate.html", name=held.name, which=which, other=other, id=held.id, start=start
        )

    async def state(self, request: Request) -> Response:
        """A plate's state as JSON; `stage` and `mode` as asked."""
        which, mode = _which(request), request.query_params.get("mode", "still")
        if which is None or mode not in MODES:
            return _gone_page()
        stage = request.query_params.get("stage") or None
        ask = partial(self.workshop.state, request.path_params["instrument"], which, stage, mode)
        return JSONResponse(await _in_thread(ask))

    async def take(self, request: Request) -> Response:
        """Takes entries in: a JSON list; answers for each."""
        try:
            items = json.loads(await request.body())
        except (ValueError, RecursionError):
            items = None
        if not isinstance(items, list) or len(items) > 2000:
            return JSONResponse({"sentence": say("bench.not_an_entry")}, 400)
        ask = partial(self.workshop.take, request.path_params["instrument"], items)
        return JSONResponse(await _in_thread(ask))

    async def changes(self, request: Request) -> Response:
        """Server-sent events: the number of entries, whenever it changes."""
        instrument = request.path_params["instrument"]

        async def told() -> AsyncIterator[str]:
            seen = -1
            while not await request.is_disconnected():
                count = await _in_thread(partial(self.workshop.count, instrument))
                if count != seen:
                    seen = count
                    yield f"data: {count}\n\n"
                await asyncio.sleep(_LOOK_S)

        return StreamingResponse(told(), media_type="text/event-stream")

    def _page(self, template: str, **values: Any) -> Response:
        said = {k: say(f"bench.{k}") for k in _SAID}
        return HTMLResponse(self.templates.get_template(template).render(say=said, **values))


async def _in_thread(work: Any) -> Any:
    return await anyio.to_thread.run_sync(work)


def _which(request: Request) -> PlateName | None:
    which = request.path_params["which"]
    return cast("PlateName", which) if which in ("top", "back") else None


def _drawn(one: dict[str, Any]) -> dict[str, Any]:
    """The outline as an SVG path, neck up, bass left as from the front's outside, in mm."""
    points = one["outline"]
    path = "M" + "L".join(f"{-y:g} {-x:g}" for x, y in points) + "Z" if points else ""
    high = max((x for x, _ in points), default=1.0)
    wide = 2.0 * max((abs(y) for _, y in points), default=1.0)
    return one | {"path": path, "high": high, "wide": wide}


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    told = error.findings[0]
    return JSONResponse({"key": told.key, "sentence": told.line()}, 409)


async def _too_large(request: Request, error: Exception) -> Response:
    return JSONResponse({"sentence": say("bench.too_large")}, 413)


async def _gone(request: Request, error: Exception) -> Response:
    return _gone_page()


def _gone_page() -> Response:
    return JSONResponse({"sentence": say("bench.gone")}, 404)
