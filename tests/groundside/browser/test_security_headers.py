"""Security headers of every page: nothing from elsewhere, and in no frame."""

import asyncio
import re

import pytest
from aiohttp import web
from aiohttp.test_utils import make_mocked_request

from groundside.browser import security
from groundside.browser.login_page import LOGIN_HEADERS

OWN = {"'none'", "'self'", "'unsafe-inline'", "data:"}


def policy(headers: dict[str, str]) -> dict[str, set[str]]:
    """Return the sources that each directive allows."""
    directives = (one.split() for one in headers["Content-Security-Policy"].split(";"))
    return {name: set(sources) for name, *sources in directives}


@pytest.mark.parametrize("headers", [security.HEADERS, LOGIN_HEADERS])
def test_nothing_is_fetched_from_elsewhere_and_no_page_may_frame_this_one(headers: dict) -> None:
    found = policy(headers)
    assert found["default-src"] <= {"'self'", "'none'"}
    assert found["frame-ancestors"] == found["base-uri"] == {"'none'"}
    assert found["form-action"] <= {"'self'", "'none'"}
    for name, sources in found.items():
        sockets = {"ws:", "wss:"} if name == "connect-src" else set()
        strange = sources - OWN - sockets
        assert all(re.fullmatch(r"'sha256-[\w+/]{43}='", one) for one in strange), name
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"
    assert headers["Referrer-Policy"] in ("no-referrer", "same-origin")


def test_the_dashboard_s_page_runs_scripts_from_files_alone() -> None:
    assert policy(security.HEADERS)["script-src"] == {"'self'"}


def test_the_login_page_s_script_and_style_are_named_by_hash() -> None:
    found = policy(LOGIN_HEADERS)
    for name in ("script-src", "style-src"):
        (only,) = found[name]
        assert only.startswith("'sha256-")


def test_every_response_has_the_headers_and_names_no_version() -> None:
    answer = web.Response(headers={"Server": "x/1.0", "Referrer-Policy": "same-origin"})
    asyncio.run(security.add_headers(make_mocked_request("GET", "/"), answer))
    assert "Server" not in answer.headers
    assert answer.headers["Referrer-Policy"] == "same-origin"  # the page's own value is kept
    for name, value in security.HEADERS.items():
        assert answer.headers[name] == value or name == "Referrer-Policy"
