"""What survey.gpkg holds: its layers, their fields, and what the file says of itself. The one place that says so.

Writers make their layers from these tables (`layer.layer_of`), readers take the names of columns from them, and `docs/layers.md`
is made from them. The tables themselves stand in `schema_scans`, `schema_items`, `schema_fit` and `schema_penetrations`.
"""

from typing import Mapping

from .schema_fit import ERROR_ELLIPSES, SEAMS, TIES, WALLS
from .schema_items import AREA_DEPTHS, AREA_ITEMS, BRIDGED, DISMISSED, ITEMS, LAST_WRITTEN, MATS, PICKS
from .schema_penetrations import CHASES, DRILL_SHEET, PENETRATION_PLACES, PENETRATION_VERDICTS
from .schema_scans import (
    CONTROL_POINTS,
    COVERAGE,
    FINDINGS,
    INPUT_FILES,
    RASTERS,
    RUN_LOG,
    SCAN_AREAS,
    SCAN_LINES,
    WAVE_SPEED_ECHOES,
    WAVE_SPEED_REGIONS,
    WAVE_SPEEDS,
)
from .table_schema import Table

# Metadata of the file as a whole. Files made before the schema's version was stated are of version 1, too.
SCHEMA_VERSION = 1
SCHEMA_VERSION_KEY = "INSLAB_SCHEMA_VERSION"
SURVEY_FOLDER_KEY = "INSLAB_SURVEY_FOLDER"
RELATIVE_FOLDER_KEY = "INSLAB_SURVEY_FOLDER_FROM_HERE"
SAMPLE_INTERVAL_KEY = "INSLAB_SAMPLE_INTERVAL_NS"
CRS_KEY = "INSLAB_SITE_GRID_WKT"

_OF_SURVEY = (
    *(SCAN_AREAS, SCAN_LINES, CONTROL_POINTS, TIES, ERROR_ELLIPSES, SEAMS, WALLS),
    *(WAVE_SPEEDS, WAVE_SPEED_ECHOES, WAVE_SPEED_REGIONS, RASTERS),
    *(ITEMS, PICKS, BRIDGED, MATS, COVERAGE, AREA_ITEMS, AREA_DEPTHS, DISMISSED, LAST_WRITTEN),
    *(FINDINGS, RUN_LOG, INPUT_FILES),
)
_OF_PENETRATIONS = (PENETRATION_VERDICTS, PENETRATION_PLACES, CHASES, DRILL_SHEET)
TABLES: Mapping[str, Table] = {table.name: table for table in (*_OF_SURVEY, *_OF_PENETRATIONS)}
