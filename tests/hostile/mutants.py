"""Changes the code one operator or number at a time, and checks that a test notices; docs/reliability.md holds the figures.

    .venv/bin/python tests/hostile/mutants.py clearance
    .venv/bin/python tests/hostile/mutants.py fit

The changes are those of cosmic-ray; of each kind of operator one or two replacements, not all. Each changed module lives only in
a process of its own, in which its tests run until the first fails: no file is touched. What no test notices is printed.
Not on Windows, which has no fork.
"""

import difflib
import importlib
import importlib.machinery
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Dict, List, NamedTuple, Tuple

os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = "1"
os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "helpers"))
import conftest  # noqa: F401 - makes the package importable
import pytest
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.provider import OperatorProvider

TESTS = Path(__file__).resolve().parent.parent
ROOT = TESTS.parent
LIBRARIES = (  # loaded once here, so that no process has to
    *("pyproj", "rasterio", "shapely.geometry", "scipy.sparse.csgraph", "scipy.sparse.linalg", "scipy.spatial"),
    "scipy.special",
)
OPERATORS = (
    *("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "Pow_Mul", "Mod_Mul", "BitAnd_BitOr", "BitOr_BitAnd"),
    *("Lt_LtE", "LtE_Lt", "Gt_GtE", "GtE_Gt", "Lt_GtE", "LtE_Gt", "Gt_LtE", "GtE_Lt"),
    *("Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is", "Delete_USub", "Delete_Invert", "Delete_Not"),
    *("AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd"),
    *("ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "NumberReplacer", "ZeroIterationForLoop"),
)


class Subject(NamedTuple):
    """Modules to change with the tests that are asked first, tests that are asked where these notice nothing, and slow ones among
    both that are asked last.
    """

    modules: Dict[str, Tuple[str, ...]]
    further: Tuple[str, ...]
    slow: Tuple[str, ...]


CONTROL, FIT, HAND, JOINT, FRAME, NETWORK, OUTLIERS, RESULTS, ROWS, START = (
    f"processing/site/test_{name}.py"
    for name in [
        "control",
        "fit",
        "fit_by_hand",
        "fit_areas",
        "frame",
        "network",
        "outliers",
        "results",
        "rows",
        "first_positions",
    ]
)
CHECKS, DRAWING = "checks/test_site_network.py", "checks/test_drawing_fit.py"
SUBJECTS = {
    "clearance": Subject(
        {
            "penetrations/clearance.py": ("processing/penetrations/test_clearance.py",),
            "penetrations/check.py": ("processing/penetrations/test_check.py",),
            "penetrations/model.py": ("processing/penetrations/test_check.py",),
            "geometry/polygons.py": ("processing/geometry/test_polygons.py",),
        },
        tuple(f"processing/penetrations/test_{name}.py" for name in ("clearance", "check", "touched_unknown")),
        ("test_stated_probabilities", "test_probability_of_touching", "test_distances_count"),
    ),
    "fit": Subject(
        {
            "site/control.py": (CONTROL, FIT),
            "site/fit.py": (FIT, HAND, JOINT),
            "site/frame.py": (FRAME, FIT, JOINT),
            "site/network.py": (NETWORK, CHECKS, HAND),
            "site/outliers.py": (OUTLIERS, FIT, JOINT),
            "site/results.py": (RESULTS, HAND, OUTLIERS),
            "site/rows.py": (ROWS, HAND, JOINT),
            "site/first_positions.py": (START, FIT),
            "site/statistics.py": (CHECKS, DRAWING),
        },
        (CONTROL, FIT, HAND, JOINT, FRAME, NETWORK, OUTLIERS, RESULTS, ROWS, START, "checks/test_site_fit.py", CHECKS),
        (
            *(
                "test_stated_sigma_matches",
                "test_the_sigmas_of_a_floor",
                "test_the_test_keeps",
                "test_smallest_detectable",
            ),
            "test_areas_without_ties",
        ),
    ),
}


def mutants(source: str):
    """Changed sources, each with the kind of its change."""
    provider = OperatorProvider()
    chosen = [name for name in provider if name.split("Operator_")[-1] in OPERATORS]
    for name in chosen:
        occurrence = 0
        while True:
            changed = mutate_code(source, provider[name](), occurrence)
            if changed is None:
                break
            occurrence += 1
            yield name, changed


def run(subject: Subject, path: Path, source: str) -> None:
    """In a process of its own: the tests, with `source` in the place of the module. Ends the process: 0 where all pass."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    code = 1
    try:
        get_code = importlib.machinery.SourceFileLoader.get_code

        def changed(loader, name):
            if Path(loader.path) == path:
                return compile(source, str(path), "exec")
            return get_code(loader, name)

        importlib.machinery.SourceFileLoader.get_code = changed
        own = subject.modules[path.relative_to(ROOT / "processing").as_posix()]
        others = [name for name in subject.further if name not in own]
        slow = " or ".join(subject.slow)
        for files, which in ((own, f"not ({slow})"), (others, f"not ({slow})"), ({*own, *others}, slow)):
            plain = ["-x", "-q", "-p", "no:cacheprovider", "-k", which]
            code = pytest.main([*plain, *(str(TESTS / name) for name in sorted(files))])
            if code not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
                os._exit(1)
            code = 0
    finally:
        os._exit(int(code))


def main(name: str, only: str = "") -> int:
    for library in LIBRARIES:
        importlib.import_module(library)
    with tempfile.TemporaryDirectory() as compiled:
        sys.dont_write_bytecode, sys.pycache_prefix = False, compiled
        return look(name, only)


def look(name: str, only: str) -> int:
    """Makes the changes one after the other, as many at once as there are cores, and prints those that no test notices."""
    subject = SUBJECTS[name]
    paths = [ROOT / "processing" / module for module in subject.modules if only in module]
    start = time.monotonic()
    child = os.fork()
    if child == 0:
        run(subject, paths[0], paths[0].read_text(encoding="utf-8"))
    if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) != 0:
        print("The tests fail without any change.")
        return 1
    limit = 30 + 10 * (time.monotonic() - start)
    waiting = [(path, *one) for path in paths for one in mutants(path.read_text(encoding="utf-8"))]
    print(f"{len(waiting)} changes; the tests take {time.monotonic() - start:.0f} s", flush=True)
    made, alive = Counter(path.name for path, *_ in waiting), Counter()
    under_way: Dict[int, tuple] = {}
    waiting.reverse()
    while waiting or under_way:
        while waiting and len(under_way) < (os.cpu_count() or 1):
            path, operator, source = waiting.pop()
            child = os.fork()
            if child == 0:
                run(subject, path, source)
            under_way[child] = (path, operator, source, time.monotonic())
        time.sleep(0.02)
        for child, (path, operator, source, begun) in list(under_way.items()):
            if time.monotonic() - begun > limit:
                os.kill(child, signal.SIGKILL)
            ended, status = os.waitpid(child, os.WNOHANG)
            if not ended:
                continue
            del under_way[child]
            if status == 0:
                alive[path.name] += 1
                print(f"\n{path.name}, {operator}: no test notices", *difference(path, source), sep="\n", flush=True)
    print()
    for path in paths:
        print(f"{path.name}: {made[path.name]} changes, {alive[path.name]} not noticed")
    print(f"together: {sum(made.values())} changes, {sum(alive.values())} not noticed")
    return 0


def difference(path: Path, source: str) -> List[str]:
    """The changed lines with their number."""
    before, after = path.read_text(encoding="utf-8").split("\n"), source.split("\n")
    found = []
    for kind, first, last, other, end in difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if kind != "equal":
            found += [f"{first + 1}- {line.strip()}" for line in before[first:last]]
            found += [f"{first + 1}+ {line.strip()}" for line in after[other:end]]
    return found


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
