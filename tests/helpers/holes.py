"""Tables of planned penetrations for the tests."""

import csv
from pathlib import Path

COLUMNS = ("penetration_id", "x_m", "y_m", "diameter_m", "depth_m", "tolerance_m")


def write_holes(path: Path, rows, columns=COLUMNS) -> Path:
    """Write a CSV table of penetrations and return its path."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(rows)
    return path
