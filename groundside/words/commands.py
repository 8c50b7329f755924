"""What the rider said, in a few words."""

from groundside.charge_words import charge_told
from onboard.contract.commands import Command, Mark


def command_text(command: Command) -> str:
    """Return a command in a few words.

    Examples
    --------
    >>> from onboard.contract.commands import Set
    >>> command_text(Set(1, "setup", "A")), command_text(Mark(1, "run_start"))
    ('setup: A', 'run start')
    >>> command_text(Mark(1, "charged", amount=("left_fraction", 0.8)))
    'charged to 80 %'
    """
    if isinstance(command, Mark):
        told = command.source or charge_told(command.amount)
        return " ".join(filter(None, (command.mark.replace("_", " "), told, command.text)))
    value = "none" if command.value is None else command.value
    return f"{command.key.replace('_', ' ')}: {value}"
