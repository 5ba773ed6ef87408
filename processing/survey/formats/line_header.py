"""What the reader of any line format gives before samples are read."""

from dataclasses import dataclass, field
from typing import Optional, Tuple

import numpy as np

MAX_SAMPLES = 2**28  # of one line, 1 GiB as float32: hostile sizes stop here before anything is allocated


@dataclass(frozen=True)
class LineHeader:
    """What a line's file says about itself, before its samples are read.

    Attributes
    ----------
    interval_source : str
        Where the sample interval was read, in words for a message.
    positions_m : ndarray or None
        x, y of each trace, metres, shape (trace, 2), where the file carries usable ones; not yet compared with the table.
    notes : tuple of str
        Sentences on what in the file was not used, and why.
    """

    trace_count: int
    sample_count: int
    sample_interval_ns: float
    interval_source: str
    positions_m: Optional[np.ndarray] = field(default=None, compare=False, repr=False)
    notes: Tuple[str, ...] = ()
