"""The three themes: sun (dark on white), night, and mono for terminals without colour.

All colours are in the palette of 256-colour terminals: a remote shell seldom reports that the
terminal supports more. No meaning rests on colour alone.
"""

from textual.theme import Theme

VARIABLES = (
    "figure",
    "quiet",
    "stale",
    "rule",
    "key",
    "danger-ink",
    "danger-paper",
    "warning-ink",
    "warning-paper",
    "cue-ink",
    "cue-paper",
    "button-even",
    "button-odd",
)
"""Variables beyond the toolkit's own: `ink` is written on `paper`."""


def _theme(name: str, ink: str, paper: str, dark: bool, *colours: str) -> Theme:
    return Theme(
        name=name,
        primary=ink,
        foreground=ink,
        background=paper,
        surface=paper,
        panel=paper,
        dark=dark,
        text_alpha=1.0,
        variables=dict(zip(VARIABLES, colours, strict=True)),
    )


# A test reads the pairs of ink and paper off the stylesheet and checks their contrast. The colours
# are in the order of `VARIABLES`: figure, quiet, stale, rule, key; ink and paper of danger, warning
# and cue; the two papers of buttons.
SUN = _theme(
    "sun",
    "#000000",
    "#ffffff",
    False,
    *("#000000", "#444444", "#767676", "#767676", "#00005f"),
    *("#ffffff", "#870000", "#000000", "#ffd700", "#ffffff", "#00005f"),
    *("#d0d0d0", "#e4e4e4"),
)
# Amber on black, and nothing brighter than the figures, to spare eyes adapted to the dark. A danger
# is reversed, not brighter.
NIGHT = _theme(
    "night",
    "#d7af5f",
    "#000000",
    True,
    *("#ffaf00", "#d78700", "#af8700", "#af8700", "#ffaf00"),
    *("#000000", "#d78700", "#ffaf00", "#262626", "#ffaf00", "#262626"),
    *("#262626", "#1c1c1c"),
)
MONO = _theme(
    "mono",
    "#ffffff",
    "#000000",
    True,
    *("#ffffff", "#b2b2b2", "#808080", "#808080", "#ffffff"),
    *("#000000", "#ffffff", "#000000", "#ffffff", "#000000", "#ffffff"),
    *("#3a3a3a", "#262626"),
)

THEMES = (SUN, NIGHT, MONO)


def next_theme(name: str) -> str:
    """Return the name of the next theme; the first follows the last.

    Examples
    --------
    >>> next_theme("sun"), next_theme("mono")
    ('night', 'sun')
    """
    names = [theme.name for theme in THEMES]
    return names[(names.index(name) + 1) % len(names)] if name in names else names[0]
