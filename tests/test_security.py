"""What the plugin never does: run text as code, unpickle, use a shell, reach a network, carry a secret."""

import ast
import hashlib
import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FILES = sorted([*ROOT.glob("*.py"), *ROOT.glob("processing/**/*.py"), *ROOT.glob("plugin/**/*.py")])
CALLS = {"eval", "exec", "compile", "__import__", "system", "popen", "startfile"}
MODULES = {
    *("pickle", "cPickle", "dill", "shelve", "marshal", "code", "pty", "multiprocessing"),
    *("socket", "ssl", "http", "urllib", "ftplib", "smtplib", "telnetlib", "xmlrpc", "requests", "aiohttp"),
}
# Where a process is started, and why: only our own file, with the interpreter that runs this.
PROCESSES = {"processing/area/runners.py"}
# Where one is forked: only that process and its own children hold the ends of the pipes between them.
FORKS = {"processing/common/together.py"}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.relative_to(ROOT).as_posix())
def test_nothing_that_could_run_a_stranger_s_code(file):
    name = file.relative_to(ROOT).as_posix()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        where = f"{name}:{getattr(node, 'lineno', 0)}"
        modules = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and not node.level and node.module:
            modules = [node.module]
        for module in modules:
            if not (module == "multiprocessing" and name in FORKS):
                assert module.split(".")[0] not in MODULES, f"{where}: {module}"
            assert module.split(".")[0] != "subprocess" or name in PROCESSES, f"{where}: starts a process"
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name):
            assert node.func.id not in CALLS, f"{where}: {node.func.id}"
        elif (
            isinstance(node.func, ast.Attribute)
            and isinstance(node.func.value, ast.Name)
            and node.func.value.id == "os"
        ):
            assert node.func.attr not in CALLS, f"{where}: os.{node.func.attr}"
        for keyword in node.keywords:
            on = isinstance(keyword.value, ast.Constant) and keyword.value.value is True
            assert not (keyword.arg in {"shell", "allow_pickle"} and on), f"{where}: {keyword.arg}"


def run_tool(module, *arguments, folder=ROOT):
    """Standard output of a tool of `tests/tools.txt`."""
    command = [sys.executable, "-m", module, *arguments]
    run = subprocess.run(command, capture_output=True, text=True, cwd=folder, timeout=300, check=False)
    assert run.stdout, run.stderr
    return json.loads(run.stdout)


# The plugin repository of QGIS asks these two of every upload (its page on security scanning, as known in 2026).
def test_bandit_finds_nothing():
    found = run_tool("bandit", "-q", "-r", "-f", "json", "__init__.py", "processing", "plugin")
    assert [f"{one['filename']}:{one['line_number']}: {one['test_id']}" for one in found["results"]] == []
    assert found["errors"] == []
    assert found["metrics"]["_totals"]["loc"] > 10000  # it did look


def test_detect_secrets_finds_nothing(tmp_path):
    files = [file.relative_to(ROOT).as_posix() for file in FILES]
    found = run_tool("detect_secrets", "scan", "--all-files", *files, "metadata.txt", "README.md", "CHANGELOG.md")
    assert found["results"] == {}
    planted = tmp_path / "planted.py"
    planted.write_text(f'key = "{hashlib.sha256(b"planted").hexdigest()}"\n', encoding="utf-8")
    assert run_tool("detect_secrets", "scan", "--all-files", planted.name, folder=tmp_path)["results"]
