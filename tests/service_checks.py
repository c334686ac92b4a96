"""What tests of the service share: its error shape, asserted in one place."""

from typing import Any

import httpx

from fitsvc.service.codes import CODES


def problem(response: httpx.Response, status: int) -> dict[str, Any]:
    """Return a response's problem document, which must be one and of a status."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["x-content-type-options"] == "nosniff"
    document: dict[str, Any] = response.json()
    assert document["status"] == status
    assert document["type"].removeprefix("/problems/") in CODES
    assert document["title"]
    assert document["detail"]
    assert set(document) <= {"type", "title", "status", "detail", "errors"}
    for entry in document.get("errors", ()):
        assert set(entry) <= {"pointer", "parameter", "line", "code", "detail", "help"}
        assert len({"pointer", "parameter", "line"} & set(entry)) == 1
        assert not entry.get("pointer") or entry["pointer"].startswith("/")
        assert entry["detail"]
    return document


def pointers(document: dict[str, Any]) -> list[str]:
    """Return the places of a problem's errors, in order."""
    return [entry.get("pointer", f"?{entry.get('parameter')}") for entry in document["errors"]]
