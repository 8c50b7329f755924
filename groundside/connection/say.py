"""What a viewer says to the daemon, as commands that get their number when they are sent."""

from onboard.contract.commands import Amount, Key, Mark, MarkName, Set, Value


def setting(key: Key, value: Value) -> Set:
    """Return the command that sets something.

    Examples
    --------
    >>> setting("home", "here")
    Set(id=0, key='home', value='here')
    """
    return Set(0, key, value)


def mark(name: MarkName, text: str = "", amount: Amount | None = None, source: str = "") -> Mark:
    """Return the command that marks something which happens now.

    `charged` comes with its amount, `unplugged` with its source.
    """
    return Mark(0, name, text, amount, source)
