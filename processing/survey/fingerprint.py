"""What a file is known by: its content, never its date."""

import hashlib
from pathlib import Path
from typing import MutableMapping, Optional, Tuple

MISSING = "missing"
_BLOCK_BYTES = 2**20

# Path, size and time of the last change.
FileState = Tuple[str, int, int]
# Fingerprints of files in the state in which they were read: while that is theirs, they need not be read again.
Remembered = MutableMapping[FileState, str]


def state_of(path) -> FileState:
    """The state that a file is in now. Raises `OSError` or `ValueError` (a name that no file can have)."""
    path = Path(path).resolve()
    found = path.stat()
    return str(path), found.st_size, found.st_mtime_ns


def digest_of(path, remembered: Optional[Remembered] = None) -> str:
    """BLAKE2b (RFC 7693) of a file's content, 16 bytes as hexadecimal text. Raises `OSError` or `ValueError`."""
    state = state_of(path)
    if remembered is not None and state in remembered:
        return remembered[state]
    digest = _hash(path)
    if remembered is not None:
        remembered[state] = digest
    return digest


def fingerprint_file(path, remembered: Optional[Remembered] = None) -> str:
    """As `digest_of`; `MISSING` where the file cannot be read."""
    try:
        return digest_of(path, remembered)
    except (OSError, ValueError):
        return MISSING


def _hash(path) -> str:
    digest = hashlib.blake2b(digest_size=16)
    with Path(path).open("rb") as file:
        for block in iter(lambda: file.read(_BLOCK_BYTES), b""):
            digest.update(block)
    return digest.hexdigest()
