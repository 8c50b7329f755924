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


def test_a_sentence_that_sends_to_a_view_names_it_by_its_tab() -> None:
    paths = [path for top in ("onboard", "groundside") for path in (ROOT / top).rglob("*.py")]
    sources = [re.sub(r'"\s+"', "", path.read_text()) for path in paths]
    # a number would be wrong as soon as a view is added before that one
    assert not [text for text in sources if re.search(r"view \d \(\w+\)", text)]
    sent_to = {
        name for text in sources for name in re.findall(r"[Ss]ay[^.]* in the (\w+) view", text)
    }
    assert sent_to == {"craft", "runs"}
    assert sent_to <= {view.NAME for view in VIEWS}


def test_the_views_stand_in_the_order_of_their_digits() -> None:
    names = [view.NAME for view in VIEWS if view.NAME != "track"]
    assert names == ["ride", "curve", "trip", "home", "runs", "aim", "craft", "more"]
