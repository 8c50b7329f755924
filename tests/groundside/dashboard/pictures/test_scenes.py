"""The README's pictures: up to date, self-contained, and all shown there."""

import asyncio
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from groundside.dashboard.pictures.scenes import FOLDER, SCENES, Scene, draw

ROOT = Path(__file__).parents[4]
SVG = "{http://www.w3.org/2000/svg}"


def texts(picture: str) -> list[str]:
    """Return the texts of a picture, in order, after parsing it as XML."""
    tree = ElementTree.fromstring(picture)
    return [f"{each.get('x')} {each.get('y')} {each.text}" for each in tree.iter(f"{SVG}text")]


@pytest.mark.slow
@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.name)
def test_a_picture_says_what_the_screen_says_today(scene: Scene) -> None:
    # After an intended change: `python -m groundside.dashboard.pictures`, then look at them.
    kept = (FOLDER / f"{scene.name}.svg").read_text(encoding="utf-8")
    assert texts(kept) == texts(asyncio.run(draw(scene)))
    assert len(texts(kept)) > 20


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.name)
def test_a_picture_links_to_nothing(scene: Scene) -> None:
    picture = (FOLDER / f"{scene.name}.svg").read_text(encoding="utf-8")
    assert re.findall(r"https?://[^\"]*", picture) == ["http://www.w3.org/2000/svg"]
    for word in ("href", "url(", "<script", "<style", "@import", "<image", "<foreignObject"):
        assert word not in picture


def test_readme_shows_every_picture_and_no_other() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = set(re.findall(r"groundside/dashboard/pictures/([a-z-]+)\.svg", readme))
    assert shown == {scene.name for scene in SCENES} == {path.stem for path in FOLDER.glob("*.svg")}
