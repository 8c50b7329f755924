"""Draw the pictures of the README: `python -m groundside.dashboard.pictures`."""

import asyncio

from groundside.dashboard.pictures.scenes import FOLDER, SCENES, draw


def main() -> None:
    """Draw each scene into a file beside this one."""
    for scene in SCENES:
        path = FOLDER / f"{scene.name}.svg"
        path.write_text(asyncio.run(draw(scene)), encoding="utf-8")
        print(path.name)


if __name__ == "__main__":
    main()
