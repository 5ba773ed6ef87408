"""A process that computes areas for another one: tasks come in, results go out. Started by `area.runners`, by its path.

First comes one line of JSON: under which name the package is to be loaded, from where, where its libraries are, and how many cores
it may use. Then each line is a task. Out go lines of JSON: the releases in use, then for each task its progress, and at its end the
number of bytes that follow. Where the other process is gone nothing can be written any more, and this one ends.
"""

import importlib
import importlib.util
import json
import os
import sys


def main() -> None:
    # What a library might print must not get between the answers.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    hello = json.loads(sys.stdin.buffer.readline())
    sys.path[:] = hello["path"]  # without this file's own folder, whose names are not those of libraries
    name, root = hello["package"], hello["root"]
    where = os.path.join(root, "__init__.py")  # noqa: PTH118 - nothing of pathlib is needed before the path is set
    spec = importlib.util.spec_from_file_location(name, where, submodule_search_locations=[root])
    sys.modules[name] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules[name])
    importlib.import_module(f"{name}.processing.common.language").use(hello["language"])
    runners = importlib.import_module(f"{name}.processing.area.runners")
    monitor = importlib.import_module(f"{name}.processing.common.monitor").Monitor
    importlib.import_module(f"{name}.processing.common.together").use_cores(hello["cores"])

    def say(what) -> None:
        out.write(json.dumps(what).encode() + b"\n")
        out.flush()

    say(runners.releases())
    for line in iter(sys.stdin.buffer.readline, b""):
        content = runners.run_task(line.decode(), monitor(progress=lambda fraction: say({"progress": fraction})))
        say({"bytes": len(content)})
        out.write(content)
        out.flush()


if __name__ == "__main__":
    main()
