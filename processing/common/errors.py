"""The errors that Inslab raises on purpose.

Each message is one sentence for the person at the screen: which file or area, what is wrong, what to do.
"""

from .language import tr


class InslabError(Exception):
    """Base of all errors raised on purpose; its text can be shown to a user as it is."""


class SurveyError(InslabError, ValueError):
    """A survey folder, table or line file cannot be used."""


class ProcessingError(InslabError, ValueError):
    """A computation cannot give a result from the data it was given."""


class MissingPackageError(InslabError, ImportError):
    """A Python package that one step needs is not installed."""


class Cancelled(InslabError):
    """The user stopped the run."""


def disk_is_full(path) -> ProcessingError:
    """The error for a file that did not fit on its disk."""
    return ProcessingError(
        tr("{path} cannot be written, because the disk is full; free some space, then run this again.", path=path)
    )


def short(text: str, most: int = 80) -> str:
    """What a file says, for a sentence: a stranger's file may say a megabyte."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
