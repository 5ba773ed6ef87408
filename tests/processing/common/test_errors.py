"""What a person is told about errors."""

import pytest

from inslab.processing.common.errors import ProcessingError, sentence_on

WORDS = {"memory": "Too large.", "file": "A file: {reason}.", "internal": "Our fault ({kind}: {reason})."}


def caught(error):
    """The error with a traceback, as a handler gets it."""
    with pytest.raises(type(error)) as info:
        raise error
    return info.value


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (ProcessingError("The table {x} is empty; fill it."), "The table {x} is empty; fill it."),
        (MemoryError(), "Too large."),
        (PermissionError(13, "denied", "a{b}.csv"), "A file: [Errno 13] denied: 'a{b}.csv'."),
    ],
)
def test_what_a_person_can_mend_is_told_without_a_log(error, sentence):
    log = []
    assert sentence_on(caught(error), **WORDS, log=log.append) == sentence
    assert not log


def test_a_fault_of_ours_leaves_its_traceback_in_the_log():
    log = []
    assert sentence_on(caught(KeyError("x{0}")), **WORDS, log=log.append) == "Our fault (KeyError: 'x{0}')."
    (text,) = log
    assert text.startswith("Traceback")
    assert "in caught" in text
    assert "KeyError: 'x{0}'" in text
    assert sentence_on(ZeroDivisionError("no"), **WORDS) == "Our fault (ZeroDivisionError: no)."
