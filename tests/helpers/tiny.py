"""A survey that real radar work does in seconds: two areas with four lines each, cut out of the small survey."""

import shutil

LINES = ("X01", "X02", "Y02", "Y04")


def tiny_survey(small_survey, folder):
    """Copies `small_survey` to `folder` with the lines of `LINES` and the dipole axis `across` alone; returns `folder`."""
    shutil.copytree(small_survey, folder)
    table = folder / "scan_lines.csv"
    head, *rows = table.read_text(encoding="utf-8").splitlines()
    kept = [row for row in rows if row.split(",")[1] in LINES and row.split(",")[3] == "across"]
    table.write_text("\n".join([head, *kept]) + "\n", encoding="utf-8")
    return folder
