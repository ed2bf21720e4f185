"""What the program raises on purpose; anything else is a fault of the program itself."""

from __future__ import annotations

from pathlib import Path


class ReceiverSimError(Exception):
    """Base of every error raised on purpose. str() is a sentence for the user: what, where, what to do."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""  # not as a KeyError puts it


class UserError(ReceiverSimError):
    """Something that was asked for can't be done as asked; the message says what and what to do."""


class WrongValue(UserError, ValueError):  # noqa: N818 - says what happened
    """A value that was asked for lies outside what there is."""


class UnknownName(UserError, KeyError):  # noqa: N818 - says what happened
    """A name that was asked for isn't among those there are."""


class NoAnswer(ReceiverSimError, ValueError):  # noqa: N818 - says what happened
    """What was looked for isn't there on this circuit, such as a resonance within the dial.

    Not for a wrong argument, which is a plain ValueError and within a study a fault of the program.
    """


class NoOnset(NoAnswer):
    """No band that was asked for has an onset on its control."""


class Superseded(Exception):  # noqa: N818 - says what happened
    """Nobody waits for these answers any more: raised by who is told of progress, to end what is under way.

    Neither an error nor the end of one stage, so no stage keeps it.
    """


BY_FAULT = "a fault of the program, not of your build"


def fault_in_words(error: BaseException) -> str:
    """Return what to tell of an exception that nobody raised on purpose."""
    return f"{BY_FAULT}: {type(error).__name__}: {error}"


class OutputFailed(ReceiverSimError, OSError):  # noqa: N818 - says what happened
    """An output could not be written; what stood there before is as it was.

    `where` names it as the user did. `errno` is the system's number, None where it gave none.
    """

    def __init__(self, where: str | Path, cause: OSError | str) -> None:
        self.where = str(where)
        reason = cause if isinstance(cause, str) else cause.strerror or str(cause)
        super().__init__(f"{self.where} could not be written: {reason}")
        self.errno = None if isinstance(cause, str) else cause.errno
