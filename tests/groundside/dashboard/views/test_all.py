"""The tables of views and keys: each row is complete, and none shadows another."""

import re
from collections import Counter
from pathlib import Path

import pytest

from groundside.dashboard.keys import KEYS
from groundside.dashboard.views.all import VIEW_KEYS, VIEWS
from groundside.dashboard.views.base import View

TAB_LETTERS_MOST = 5
ROOT = Path(__file__).parents[4]


@pytest.mark.parametrize("view", VIEWS)
def test_a_view_has_a_name_and_a_purpose(view: type[View]) -> None:
    assert 0 < len(view.NAME) <= TAB_LETTERS_MOST
    assert view.PURPOSE
    assert all(key.key and key.meaning for key in view.KEYS)


@pytest.mark.parametrize("view", VIEWS)
def test_no_key_of_a_view_shadows_another(view: type[View]) -> None:
    for column in ([key.key for key in view.KEYS], [w for key in view.KEYS for w in key.words]):
        assert [each for each, count in Counter(column).items() if count > 1] == []


def test_no_key_of_the_app_shadows_another() -> None:
    names = Counter(name for key in (*VIEW_KEYS, *KEYS) for name in key.names)
    assert [name for name, count in names.items() if count > 1] == []
    assert len({view.NAME for view in VIEWS}) == len(VIEWS) <= 9
    assert all(key.label and key.action and key.meaning for key in (*VIEW_KEYS, *KEYS))


def test_a_sentence_that_sends_to_a_view_names_its_number() -> None:
    sources = [
        path.read_text() for top in ("onboard", "groundside") for path in (ROOT / top).rglob("*.py")
    ]
    found = {pair for text in sources for pair in re.findall(r"view (\d) \((\w+)\)", text)}
    assert found
    assert found <= {(str(place), view.NAME) for place, view in enumerate(VIEWS, 1)}
