"""Kills runs of the chain at random moments and checks what they leave; docs/reliability.md holds the figures.

    .venv/bin/python tests/hostile/kill_runs.py 100

Each round starts a run with other settings than the result that is there, kills it with SIGKILL after a random part of the time
that a run takes, and looks at the output folder: the earlier result must be there unchanged, or the new one complete. Then the
run is started again and must give, from what was done already, the same files as a run that nobody killed.
"""

import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "helpers"))
import conftest  # noqa: F401 - makes the package importable
import killing
import stand_ins

STEPS_M = (0.01, 0.02)


def main(rounds: int) -> int:
    chance = random.Random(1)  # noqa: S311 - moments, no secrets
    with tempfile.TemporaryDirectory() as temporary:
        folder = stand_ins.write_survey(Path(temporary) / "job")
        output = Path(temporary) / "result ü"
        expected = {}
        for step in (STEPS_M[1], STEPS_M[0]):
            started = time.monotonic()
            killing.finish(folder, output, step)
            seconds = time.monotonic() - started
            expected[step] = killing.contents(output)
        present, seen, saved = STEPS_M[0], Counter(), 0
        for number in range(rounds):
            wanted = STEPS_M[1] if present == STEPS_M[0] else STEPS_M[0]
            run = killing.start(folder, output, wanted)
            end = time.monotonic() + chance.uniform(0.2, 1.1) * seconds
            killed = killing.kill_when(run, output, lambda _, end=end: time.monotonic() > end)
            found = killing.contents(output)
            if found == expected[present]:
                state = "earlier result unchanged"
            elif found == expected[wanted]:
                state = "new result complete"
            else:
                state = "files half exchanged, completed by the next run"
            seen[state if killed else "run was done before the kill"] += 1
            started = time.monotonic()
            computed = killing.finish(folder, output, wanted)
            saved += len(stand_ins.AREAS) - computed
            if computed == len(stand_ins.AREAS):  # a whole run: other work on the machine changes how long one takes
                seconds = time.monotonic() - started
            assert killing.contents(output) == expected[wanted], f"round {number}: the result differs"
            assert not killing.left_over(output), f"round {number}: {killing.left_over(output)}"
            present = wanted
            if (number + 1) % 10 == 0 or number + 1 == rounds:
                done = number + 1
                print(
                    f"{done} kills; {saved} of {done * len(stand_ins.AREAS)} areas were not computed again", flush=True
                )
                for state, count in seen.most_common():
                    print(f"{count:4d}  {state}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 100))
