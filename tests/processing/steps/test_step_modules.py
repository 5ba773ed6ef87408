"""All steps are one kind of thing: a module named like its algorithm, with one function that is called the same."""

import inspect
from importlib import import_module
from pathlib import Path

import pytest

import inslab.processing.steps
from inslab.processing.common.monitor import Monitor

FOLDER = Path(inslab.processing.steps.__file__).parent
MODULES = sorted(path.stem for path in FOLDER.glob("*.py") if path.stem != "__init__")
ALGORITHMS = FOLDER.parents[1] / "plugin" / "algorithms"


@pytest.mark.parametrize("name", MODULES)
def test_a_step_is_called_like_its_algorithm_and_takes_a_monitor_last(name):
    module = import_module(f"inslab.processing.steps.{name}")
    own = [one for key, one in vars(module).items() if key.endswith("_step") and one.__module__ == module.__name__]
    (step,) = own
    assert step.__name__.removesuffix("_step").replace("_", "") == name
    *others, last = inspect.signature(step).parameters.values()
    assert (last.name, last.default) == ("monitor", Monitor())
    assert not any(one.kind in (one.VAR_POSITIONAL, one.VAR_KEYWORD) for one in others)


def test_every_algorithm_has_its_step():
    texts = {path.stem: path.read_text(encoding="utf-8") for path in ALGORITHMS.glob("*.py")}
    assert sorted(name for name, text in texts.items() if "(InslabAlgorithm):" in text) == MODULES
    for name in MODULES:
        assert f"steps.{name} import" in texts[name], name
