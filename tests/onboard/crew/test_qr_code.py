"""QR codes as shown in a terminal."""

import pytest

from onboard.crew.qr_code import qr_code


def test_size() -> None:
    code = qr_code("http://192.0.2.7:27221/").splitlines()
    # Version 2: 25 modules and a quiet zone of 4 (ISO/IEC 18004), two modules in a row of text.
    assert len(code) == pytest.approx((25 + 8) / 2, abs=1.0)
