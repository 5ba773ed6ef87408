"""Print where the sample's results are and what the run found: print_summary.py WORK_FOLDER."""

import json
import sys
from pathlib import Path

KINDS = {
    "BAR_COUNT": "bars",
    "TENDON_COUNT": "tendons",
    "METAL_CONDUIT_COUNT": "conduits, metal",
    "PLASTIC_CONDUIT_COUNT": "conduits, plastic",
    "UNKNOWN_COUNT": "kind unknown",
}


def summary(work: Path) -> str:
    """The text, from the JSON that qgis_process wrote."""
    found = json.loads((work / "run.json").read_text(encoding="utf-8"))["results"]
    rows = [("scan areas", found["AREA_COUNT"]), ("scan lines", found["LINE_COUNT"])]
    rows += [(name, found[key]) for key, name in KINDS.items()]
    rows.append(("worst fit residual", f"{1000 * found['WORST_RESIDUAL']:.1f} mm"))
    rows += [(f"seconds, {step}", f"{seconds:.1f}") for step, seconds in json.loads(found["SECONDS"]).items()]
    places = {
        "survey": work / "survey",
        "layers": work / "result" / "survey.gpkg",
        "slices": work / "result" / "slices",
        "report": work / "result" / "report.html",
        "project": work / "inslab-sample.qgz",
    }
    return "\n".join(
        [
            "",
            *(f"{name:8}{path}" for name, path in places.items()),
            "",
            "Open it with:",
            f"qgis --profiles-path '{work / 'profile'}' --profile default '{places['project']}'",
            "",
            *(f"{name:22}{value!s:>10}" for name, value in rows),
        ]
    )


if __name__ == "__main__":
    print(summary(Path(sys.argv[1]).resolve()))
