"""The application: every page behind its gate, the static files, and the headers around it all."""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from cubital.web.arrival import Crowd, FileQueue
from cubital.web.desk import Desk
from cubital.web.gate import Gate
from cubital.web.headers import GuardedHeaders
from cubital.web.pages import OPENED, PAGES, Page
from cubital.web.static_files import StaticFiles
from cubital.web.visit import Templates, Visit


def make_application(desk: Desk) -> Starlette:
    """The ASGI application of this desk."""
    static = StaticFiles()
    templates, crowd, files = Templates(static), Crowd(desk.settings.most_at_once), FileQueue()

    async def refuse(request: Request, error: Exception) -> Response:
        status = getattr(error, "status_code", 500)
        bare = request.url.path.rstrip("/")
        if status == 404 and request.method in ("GET", "HEAD") and bare in OPENED:
            return RedirectResponse(bare + (f"?{request.url.query}" if request.url.query else ""), 307)
        said = {
            404: "There is no such page.",
            405: "This page is not used so.",
        }
        visit = Visit(request, desk, templates)
        return visit.page("refusal.html", {"status": status, "said": said.get(status, "Refused.")}, status=status)

    application = Starlette(
        routes=[
            Route("/static/{name}", static.serve, methods=["GET"], name="static"),
            *(_route(page, Gate(page, desk, templates, crowd, files)) for page in PAGES),
        ],
        middleware=[Middleware(GuardedHeaders, settings=desk.settings)],
        exception_handlers={404: refuse, 405: refuse},
    )
    # Its own redirect names scheme and host as the server sees them: http, where a proxy does not say what it speaks.
    application.router.redirect_slashes = False
    return application


def _route(page: Page, gate: Gate) -> Route:
    return Route(page.path, gate.answer, methods=list(page.answers))
