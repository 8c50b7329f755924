"""What `serve` prints on its terminal."""

import sys

import pytest

from groundside.browser.serve_screen import print_local_page


def test_on_loopback_no_qr_code_is_printed_that_no_phone_can_use(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    print_local_page("127.0.0.1", 27221)
    address, phone = capsys.readouterr().out.splitlines()
    assert address == "the dashboard is at http://127.0.0.1:27221/"
    assert "for a phone" in phone and "--bind 0.0.0.0" in phone
