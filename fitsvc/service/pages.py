"""/openapi.json and /docs: the API's description, and a page that shows it without asking any other host."""

import re
from collections.abc import Iterable
from importlib.resources import files
from typing import Final

from litestar import Response, get
from litestar.params import FromPath

from fitsvc.service.codes import CODES
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.operations import Operation, query_of
from fitsvc.service.problems import problem
from fitsvc.service.replies import tagged

_ASSETS: Final = {
    "swagger-ui-bundle.js": "text/javascript",
    "swagger-ui.css": "text/css",
}
_STARTS: Final = """\
window.addEventListener("load", () => SwaggerUIBundle({
  url: "/openapi.json", dom_id: "#docs", deepLinking: true, validatorUrl: null,
}));
"""
_PAGE: Final = """\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>fitsvc: the API</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/docs/assets/swagger-ui.css">
<script src="/docs/assets/swagger-ui-bundle.js"></script>
<script src="/docs/assets/start.js"></script>
</head>
<body>
<p><a href="/">The counter</a> · <a href="/guide">Guide</a> · <a href="/openapi.json">The description itself</a></p>
<main id="docs"></main>
<noscript>This page shows <a href="/openapi.json">the API's description</a> with a script.</noscript>
</body>
</html>
"""
_CODES: Final = """\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>fitsvc: problems</title>
<link rel="icon" href="data:,">
</head>
<body>
<p><a href="/">The counter</a> · <a href="/docs">The API</a> · <a href="/problems">All problems</a></p>
<main><h1>Problems</h1>{}</main>
</body>
</html>
"""
# The page may load from here only; its styles and icons are partly inline, in the page and in data URLs.
_POLICY: Final = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
}

_DESCRIPTION: Final = Operation(
    id="get_openapi",
    summary="Get the API's description",
    about="The OpenAPI 3.1 document of this service.",
    tag="Description",
    gives="Description",
    errors=(304,),
    sends=("ETag",),
)


@get("/openapi.json", opt=_DESCRIPTION.opt, sync_to_thread=False)
def description(request: AnyRequest) -> Response[bytes]:
    """Give the OpenAPI document."""
    query_of(request)
    described = service_of(request).description
    return tagged(request, described.body, described.tag)


@get("/docs", sync_to_thread=False)
def docs() -> Response[str]:
    """Give the page."""
    return Response(_PAGE, media_type="text/html", headers=_POLICY)


@get("/docs/assets/{name:str}", sync_to_thread=True)
def asset(name: FromPath[str]) -> Response[bytes]:
    """Give one of the page's files."""
    headers = {"Cache-Control": "max-age=86400"}
    if name == "start.js":
        return Response(_STARTS.encode(), media_type="text/javascript", headers=headers)
    if name not in _ASSETS:
        raise problem(404, f"there is no file `{name[:60]}`")
    content = files("litestar_offline_docs").joinpath("static", name).read_bytes()
    return Response(content, media_type=f"{_ASSETS[name]}", headers=headers)


@get("/problems", sync_to_thread=False)
def problem_codes() -> Response[str]:
    """List the codes of problems."""
    return Response(_codes(CODES), media_type="text/html", headers=_POLICY)


@get("/problems/{code:str}", sync_to_thread=False)
def problem_code(code: FromPath[str]) -> Response[str]:
    """Tell what one code means, and what to do."""
    if code not in CODES:
        raise problem(404, f"there is no problem `{code[:60]}`; /problems lists all")
    return Response(_codes([code]), media_type="text/html", headers=_POLICY)


def _codes(codes: Iterable[str]) -> str:
    """Return a page that tells codes; what is written in backquotes there is shown as such."""
    told = "".join(f"<h2 id={code}>{code}</h2><p>{CODES[code][0]}</p><p>{CODES[code][1]}</p>" for code in codes)
    return _CODES.replace("{}", re.sub("`([^`]+)`", r"<code>\1</code>", told))
