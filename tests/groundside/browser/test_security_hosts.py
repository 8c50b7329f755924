"""Accepted host names: names that others can point at this machine get nothing."""

import asyncio

import pytest
from aiohttp import web
from aiohttp.test_utils import make_mocked_request

from groundside.browser import security

NUMBERS = ["127.0.0.1", "127.0.0.1:27221", "192.0.2.7:80", "[::1]:80", "localhost:27221"]
OTHERS = [
    "a.local.evil.org",
    "board.local.evil.org:27221",
    "board.localhost",
    "evil.org",
    "evil.org:80",
    "boardlocal",
    "localhost.evil.org",
    "127.0.0.1.evil.org",
    "evil.org#.local",
    "",
    "[::1",
]


@pytest.mark.parametrize("host", [*NUMBERS, "board.local", "BOARD.local:80"])
def test_own_names(host: str) -> None:
    assert security.is_own_name(host)


@pytest.mark.parametrize("host", OTHERS)
def test_other_names(host: str) -> None:
    assert not security.is_own_name(host)


async def inside(_: web.Request) -> web.StreamResponse:
    return web.Response(text="inside")


@pytest.mark.parametrize("check", [security.own_names_only, security.numbers_only])
@pytest.mark.parametrize("host", [*NUMBERS, "board.local", *OTHERS[:6]])
def test_only_own_names_are_served(check, host: str) -> None:
    request = make_mocked_request("GET", "/", headers={"Host": host})
    let_in = host in NUMBERS or (host == "board.local" and check is security.own_names_only)
    if let_in:
        assert asyncio.run(check(request, inside)).status == 200
    else:
        with pytest.raises(web.HTTPForbidden):
            asyncio.run(check(request, inside))


@pytest.mark.parametrize(
    ("origin", "ours"),
    [
        ("https://192.0.2.7:27221", True),
        ("http://192.0.2.7:27221", False),
        ("https://192.0.2.7", False),
        ("https://192.0.2.7:27221.evil.org", False),
        ("https://evil.org", False),
        ("null", False),
        ("", False),
        ("https://[", False),
    ],
)
def test_only_own_pages_have_the_same_origin(origin: str, ours: bool) -> None:
    assert security.same_origin(origin, "192.0.2.7:27221", "https") is ours
