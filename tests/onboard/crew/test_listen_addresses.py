"""Plain on loopback only: every other address is encrypted, or refused in one line."""

import asyncio
from pathlib import Path

import pytest

from onboard.crew.listen_addresses import listen_addresses
from onboard.errors import FeedError, UsageError
from onboard.feed.server import FeedServer
from onboard.profile import FeedSettings
from tests.onboard.crew.doors import paired_folder

HERE = ["127.0.0.1:27220", "127.9.9.9:1", "[::1]:27220", "localhost:0"]
ELSEWHERE = ["0.0.0.0:27220", "[::]:4000", "192.0.2.7:4000", "board.local:4000", "10.0.0.1:1"]


@pytest.mark.parametrize("listen", HERE)
def test_this_board_needs_no_pairing(tmp_path: Path, listen: str) -> None:
    plain, crew = listen_addresses(FeedSettings(), tmp_path, listen)
    assert f"{plain[0]}:{plain[1]}" == listen.replace("[", "").replace("]", "")
    assert crew == ("0.0.0.0", 27222)


@pytest.mark.parametrize("listen", ELSEWHERE)
def test_a_public_address_without_pairing_is_refused(tmp_path: Path, listen: str) -> None:
    for given in ((FeedSettings(), tmp_path, listen), (FeedSettings(listen=listen), tmp_path)):
        with pytest.raises(UsageError, match="wattwake-onboard pair") as problem:
            listen_addresses(*given)
        assert "\n" not in str(problem.value)


def test_a_public_address_with_pairing_is_encrypted(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    plain, crew = listen_addresses(FeedSettings(), folder, "0.0.0.0:4000")
    assert (plain, crew) == (("127.0.0.1", 27220), ("0.0.0.0", 4000))
    with pytest.raises(UsageError, match="stays this board's own"):
        listen_addresses(FeedSettings(), folder, "0.0.0.0:27220")


def test_the_crews_feed_can_be_off_or_elsewhere(tmp_path: Path) -> None:
    assert listen_addresses(FeedSettings(), tmp_path, None, "off")[1] is None
    assert listen_addresses(FeedSettings(crew_listen="off"), tmp_path)[1] is None
    assert listen_addresses(FeedSettings(), tmp_path, None, "192.0.2.7:1")[1] == ("192.0.2.7", 1)
    with pytest.raises(UsageError, match="--crew-listen on: expected HOST:PORT"):
        listen_addresses(FeedSettings(crew_listen="on"), tmp_path)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "", "board.local"])
def test_the_plain_feed_refuses_a_public_address(host: str) -> None:
    with pytest.raises(FeedError, match="for this board only"):
        asyncio.run(FeedServer().open(host, 0, "skiff"))
