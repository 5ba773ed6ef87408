"""How long work tells its caller how far it is, and asks whether to go on."""

from dataclasses import dataclass, replace
from typing import Callable

from .errors import Cancelled
from .language import tr


def _ignore(_value) -> None:
    pass


def _never() -> bool:
    return False


@dataclass(frozen=True)
class Monitor:
    """Plain callables: progress (0 to 1), log lines and warnings in words, and 'has the user cancelled?'."""

    progress: Callable[[float], None] = _ignore
    log: Callable[[str], None] = _ignore
    warn: Callable[[str], None] = _ignore
    cancelled: Callable[[], bool] = _never

    def step(self, fraction: float) -> None:
        """Report the fraction done (0 to 1); raises `Cancelled` if the user has asked to stop."""
        if self.cancelled():
            raise Cancelled(tr("The run was cancelled; earlier results are unchanged."))
        self.progress(min(max(fraction, 0.0), 1.0))

    def saying_once(self) -> "Monitor":
        """A monitor that passes each warning on once, for work that may be done a second time."""
        said = set()

        def warn(text: str) -> None:
            if text not in said:
                said.add(text)
                self.warn(text)

        return replace(self, warn=warn)

    def part(self, start: float, stop: float) -> "Monitor":
        """A monitor whose 0 to 1 fills the stretch `start` to `stop` of this one."""
        return replace(self, progress=lambda fraction: self.progress(start + fraction * (stop - start)))
