"""How the rows of the terminal are shared out in the ride view, so that it never scrolls.

Every part has a least height; what is left is given away in the order in which it helps a rider.
"""

from dataclasses import dataclass

from groundside.dashboard.block_font import SIZES, SMALLEST_ROWS

SIDE_BY_SIDE_COLUMNS = 72
"""From this width on both big figures stand beside each other; a narrower terminal stacks them."""
COLUMN_OF_TABLE = 20
MOST_COLUMNS = 4
CELLS_OF_TABLE = 16
HERO_TEMPLATE = "88.8"
CUE_ROWS_WITH_TEXT = 6


@dataclass(frozen=True)
class Rows:
    """Heights of the parts of the ride view, in rows; a part with 0 is not shown.

    Parameters
    ----------
    notices, caution, hero, cue, table, age, replay, keys
        Height of each part; `hero` that of one big figure with its label.
    side_by_side
        Whether the big figures stand beside each other.
    table_columns
        How many small figures stand beside each other.
    spare
        Rows that no part needs: they set the parts apart.
    """

    notices: int
    caution: int
    hero: int
    cue: int
    table: int
    age: int
    replay: int
    keys: int
    side_by_side: bool
    table_columns: int
    spare: int = 0

    @property
    def total(self) -> int:
        """All rows that the parts take."""
        return (
            self.notices
            + self.caution
            + self.hero * (1 if self.side_by_side else 2)
            + self.cue
            + self.table
            + self.age
            + self.replay
            + self.keys
        )


def share_rows(
    width: int,
    height: int,
    *,
    notices: int = 1,
    caution: int = 0,
    cue: bool = False,
    replay: bool = False,
    keys: int = 1,
) -> Rows:
    """Share out the rows of a terminal.

    Parameters
    ----------
    width, height
        Size of the terminal in cells.
    notices
        Rows that the worst notice needs to be read whole.
    caution
        Rows that the caution needs; 0 once it was read.
    cue
        Whether there is a target, and so a cue.
    replay
        Whether there is a time bar.
    keys
        Rows of the key hints.

    Returns
    -------
    Rows
        Heights whose sum is no more than `height` where that is at least 10.
    """
    side_by_side = width >= SIDE_BY_SIDE_COLUMNS
    columns = min(MOST_COLUMNS, max(1, width // COLUMN_OF_TABLE))
    label = 1 if side_by_side else 0
    hero_width = width // 2 - 2 if side_by_side else width - 13
    heroes = sorted({s.rows for s in SIZES if s.width(HERO_TEMPLATE) <= hero_width})
    full_table = -(-CELLS_OF_TABLE // columns)
    have = {
        "notices": notices,
        "caution": caution,
        "hero": SMALLEST_ROWS + label,
        "cue": 1 if cue else 0,
        "table": 1,
        "age": 1,
        "replay": 1 if replay else 0,
        "keys": keys,
    }

    def left() -> int:
        return height - Rows(**have, side_by_side=side_by_side, table_columns=columns).total

    def grow(part: str, rows: int) -> None:
        each = 2 if part == "hero" and not side_by_side else 1
        if rows > have[part] and (rows - have[part]) * each <= left():
            have[part] = rows

    def grow_hero(most: int) -> None:
        for rows in heroes:
            if rows <= most:
                grow("hero", rows + label)

    # a terminal smaller than a phone: the big figures give up their size, not their place
    for part, least in (("keys", 1), ("table", 0), ("hero", 1 + label), ("notices", 1)):
        if left() < 0:
            have[part] = min(have[part], least)

    grow_hero(5)
    if cue:
        grow("cue", CUE_ROWS_WITH_TEXT - 1)
    grow("table", 2)
    if cue:
        grow("cue", CUE_ROWS_WITH_TEXT)
    grow("table", 3)
    grow_hero(7)
    grow("notices", 2)
    grow("table", min(4, full_table))
    grow_hero(9)
    if cue:
        grow("cue", CUE_ROWS_WITH_TEXT + 2)
    grow_hero(99)
    while left() > 0 and have["table"] < full_table:
        have["table"] += 1
    return Rows(**have, side_by_side=side_by_side, table_columns=columns, spare=max(0, left()))
