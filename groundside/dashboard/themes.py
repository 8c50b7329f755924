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


# A test checks the contrast against the paper by the formula of WCAG 2.1 (relative luminance).
SUN = _theme(
    "sun",
    "#000000",
    "#ffffff",
    False,
    *("#000000", "#444444", "#767676", "#b2b2b2", "#00005f"),
    *("#ffffff", "#870000", "#000000", "#ffd700", "#ffffff", "#00005f"),
    *("#d0d0d0", "#e4e4e4"),
)
NIGHT = _theme(
    "night",
    "#d7d7af",
    "#000000",
    True,
    *("#ffd787", "#a8a8a8", "#767676", "#444444", "#87d7ff"),
    *("#ffffff", "#870000", "#000000", "#ffd700", "#000000", "#87d7ff"),
    *("#3a3a3a", "#262626"),
)
MONO = _theme(
    "mono",
    "#ffffff",
    "#000000",
    True,
    *("#ffffff", "#b2b2b2", "#808080", "#626262", "#ffffff"),
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
