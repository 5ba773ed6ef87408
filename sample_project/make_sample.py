#!/usr/bin/python3
"""Write the invented sample survey with its truth and its drawings: make_sample.py OUTPUT_FOLDER

The same folder content comes out of every run. A folder that this script wrote before is replaced; any other folder that
is not empty is left alone.
"""

import importlib.util
import sys
import tempfile
import time
from pathlib import Path


def load_inslab():
    """Make the plugin importable as ``inslab``, whatever its folder is called, without touching sys.path."""
    if "inslab" in sys.modules:
        return
    root = Path(__file__).resolve().parent.parent
    spec = importlib.util.spec_from_file_location(
        "inslab", root / "__init__.py", submodule_search_locations=[str(root)]
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules["inslab"] = module
    spec.loader.exec_module(module)


def write_sample(output: Path):
    """Write everything into a temporary folder beside `output`, then move it into place."""
    from osgeo import gdal, ogr, osr

    from inslab.sample_project import generate

    # This process is ours alone; inside QGIS the switch would change other plugins.
    for module in (gdal, ogr, osr):
        module.UseExceptions()
    output.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=output.name + ".", dir=output.parent) as temporary:
        fresh = Path(temporary, "new")
        fresh.mkdir()
        generate.write_sample(fresh)
        if output.exists():
            output.rename(Path(temporary, "old"))
        fresh.rename(output)


def main(arguments):
    if len(arguments) != 1:
        print("Usage: make_sample.py OUTPUT_FOLDER", file=sys.stderr)
        return 2
    output = Path(arguments[0]).resolve()
    if output.exists() and not output.is_dir():
        print(f"{output} is a file; name a folder.", file=sys.stderr)
        return 1
    if output.is_dir() and any(output.iterdir()) and not (output / "truth.json").is_file():
        print(f"{output} holds something else than a sample survey; name another folder.", file=sys.stderr)
        return 1
    load_inslab()
    start = time.perf_counter()
    try:
        write_sample(output)
    except OSError as error:
        print(f"The sample survey could not be written to {output}: {error.strerror}.", file=sys.stderr)
        return 1
    size = sum(path.stat().st_size for path in output.rglob("*") if path.is_file())
    print(f"Sample survey written to {output} ({size / 1e6:.0f} MB, {time.perf_counter() - start:.0f} s)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
