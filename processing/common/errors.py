"""The errors that Inslab raises on purpose.

Each message is one sentence for the person at the screen: which file or area, what is wrong, what to do.
"""

import traceback
from typing import Callable

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


def sentence_on(
    error: Exception, memory: str, file: str, internal: str, log: Callable[[str], None] = lambda text: None
) -> str:
    """What a person is told about any error: its own text where it was raised on purpose, else what the place that caught it says.

    Parameters
    ----------
    memory, file, internal : str
        For lack of memory, for a file with the place `{reason}`, and for a fault of ours with the places `{kind}` and `{reason}`.
    log : callable
        Gets what is needed to mend a fault of ours: the traceback.
    """
    if isinstance(error, InslabError):
        return str(error)
    if isinstance(error, MemoryError):
        return memory
    if isinstance(error, OSError):
        return file.format(reason=error)
    log("".join(traceback.format_exception(type(error), error, error.__traceback__)))
    return internal.format(kind=type(error).__name__, reason=error)


def disk_is_full(path) -> ProcessingError:
    """The error for a file that did not fit on its disk."""
    return ProcessingError(
        tr("{path} cannot be written, because the disk is full; free some space, then run this again.", path=path)
    )


def short(text: str, most: int = 80) -> str:
    """What a file says, for a sentence: a stranger's file may say a megabyte."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
