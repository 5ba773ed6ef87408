"""Layers of survey.gpkg on what was scanned and how: areas, lines, control points, wave speeds, coverage, rasters, steps."""

from ..common import cautions
from ..common.language import tr
from ..common.vocabulary.surfaces import SURFACES
from ..floor.result import RASTER_CONTENTS
from ..site.frame import POSITION_STATUSES
from .table_schema import Field, Table, counts, flags, numbers, texts

DEPTHS_AND_CAUTIONS = (
    tr(
        "Depth is measured from the scanned surface: a slab's top, its soffit, or a wall (whose coordinates are its "
        "elevation)."
    )
    + f" {cautions.SHORT}"
)
AREA_ID = Field("area_id", str, "scan area")
LEVEL = Field("level", str, "level, or the elevation of a wall")
SURFACE = Field("surface", str, "surface that was scanned; depths count from it", tuple(SURFACES))
PLANE = (LEVEL, SURFACE)
_FURTHER = texts(further_columns="columns of the input table that Inslab does not know (JSON)")

SCAN_AREAS = Table(
    "scan_areas",
    "Polygon",
    tr("Scan areas and how well their control points fit. An area that is not positioned has no geometry."),
    (
        *(AREA_ID, *PLANE),
        Field("status", str, "whether it has a position on the site grid", POSITION_STATUSES),
        *numbers(
            rotation_deg="direction of the local x axis in the site grid, anticlockwise, degrees",
            shift_x_m="site x of the local origin, metres",
            shift_y_m="site y of the local origin, metres",
        ),
        *flags(mirrored="its local grid is mirrored in plan, as that of a soffit"),
        *counts(points_used="number of control points used"),
        *numbers(
            rms_residual_m="root mean square of the residuals of its control points (lengths in plan), metres",
            worst_residual_m="the largest of them, metres",
            sigma0="root of the variance factor of the area's observations; 1 where residuals are as large as the sigmas say",
            degrees_of_freedom="sum of the redundancy numbers of the area's observations",
            sigma_xy_m="1-sigma of its position where the fit is best, metres",
        ),
        *counts(line_count="number of scan lines"),
        *numbers(
            antenna_separation_m="distance of transmitter and receiver, metres",
            centre_frequency_mhz="centre frequency of the antenna, MHz",
        ),
        *texts(scanned_on="date of the scan", scanned_by="who scanned", note="free text of the survey"),
        *_FURTHER,
        *texts(fit="the fit to the site grid, to the last digit (JSON)"),
    ),
    cautions.UNKNOWN,
)
SCAN_LINES = Table(
    "scan_lines",
    "LineString",
    tr("Scan lines; start and end are in the area's local grid."),
    (
        AREA_ID,
        *texts(line_id="name of the line in its area"),
        Field("dipole_axis", str, "axis of the dipoles as seen from the direction of travel", ("across", "along")),
        *PLANE,
        *texts(file="file of its traces, as seen from the survey folder"),
        *counts(trace_count="number of traces", sample_count="samples in a trace"),
        *numbers(
            sample_interval_ns="time from sample to sample, ns",
            length_m="length, metres",
            start_x_m="local x of its start, metres",
            start_y_m="local y of its start, metres",
            end_x_m="local x of its end, metres",
            end_y_m="local y of its end, metres",
        ),
        *_FURTHER,
    ),
)
CONTROL_POINTS = Table(
    "control_points",
    "Point",
    tr(
        "Control points with their residuals (fitted minus given); 'standardized' is the larger one divided by its "
        "own sigma, 'detectable' the smallest error that the test finds. One that is not 'used' was left out; its "
        "residual is against what the others say."
    ),
    (
        AREA_ID,
        *texts(point_id="name of the point"),
        *numbers(
            local_x_m="x in the area's local grid, metres",
            local_y_m="y in the area's local grid, metres",
            site_x_m="x in the site grid as given, metres",
            site_y_m="y in the site grid as given, metres",
            sigma_m="1-sigma of the site coordinates as given, metres",
            local_sigma_m="1-sigma of the mark in the local grid as given, metres",
            residual_x_m="fitted minus given along site x, metres",
            residual_y_m="fitted minus given along site y, metres",
            standardized="the larger residual over its own sigma",
            redundancy_x="share of an error in x that its residual shows, 0 to 1",
            redundancy_y="share of an error in y that its residual shows, 0 to 1",
            detectable_x_m="smallest error in x that the test finds, metres",
            detectable_y_m="smallest error in y that the test finds, metres",
        ),
        *flags(used="whether it takes part in the fit"),
    ),
)
WAVE_SPEEDS = Table(
    "wave_speeds",
    None,
    tr("Wave speed and time zero of each area, with 1-sigma."),
    (
        AREA_ID,
        *numbers(
            speed_m_ns="wave speed, m/ns",
            sigma_m_ns="its 1-sigma, m/ns",
            time_zero_ns="time zero, ns",
            sigma_time_zero_ns="its 1-sigma, ns",
            relative_permittivity="relative permittivity that goes with the wave speed",
        ),
        *texts(moisture="what that permittivity says of moisture, in words", method="how it was estimated"),
        *numbers(
            correlation="correlation of the errors of wave speed and time zero",
            focus_speed_m_ns="wave speed at which images are sharpest, a check that takes no part, m/ns",
            focus_sigma_m_ns="its 1-sigma, m/ns",
            pulse_phase_rad="phase of the pulse at its peak, radians",
        ),
        *texts(warnings="what speaks against it, a sentence a line"),
    ),
)
WAVE_SPEED_ECHOES = Table(
    "wave_speed_echoes",
    None,
    tr("Echoes of bars looked at for the wave speeds."),
    (
        AREA_ID,
        *texts(echo="name of the echo"),
        *numbers(depth_m="depth of the bar's top, metres"),
        *counts(used="1 where it takes part in the wave speed, otherwise 0"),
        *numbers(speed_m_ns="wave speed that it gives by itself, m/ns"),
        *texts(reason="why it was left out"),
    ),
)
WAVE_SPEED_REGIONS = Table(
    "wave_speed_regions",
    None,
    tr("Wave speeds of halves of areas, from the echoes of bars."),
    (
        AREA_ID,
        *texts(region="which half"),
        *numbers(speed_m_ns="wave speed there, m/ns", sigma_m_ns="its 1-sigma, m/ns"),
    ),
)
COVERAGE = Table(
    "coverage",
    "Polygon",
    tr("What counts as scanned, and to which depth; with one line direction, objects along the lines can be missed."),
    (
        *(AREA_ID, *PLANE),
        *numbers(
            depth_m="depth to which it counts as scanned, metres; empty: to no depth",
            sigma_xy_m="1-sigma of its position, metres",
        ),
        *counts(line_directions="2 where lines cross; 1 where objects along the lines can be missed"),
        *texts(note="why it is less deep than elsewhere"),
    ),
    DEPTHS_AND_CAUTIONS,
)
FINDINGS = Table(
    "findings",
    None,
    tr("What was left out or needs a look: error, warning or note."),
    (
        Field("severity", str, "error: it was left out; warning: it needs a look", ("error", "warning", "note")),
        *texts(where_found="file, area, line or step", text="what was noticed"),
    ),
)
RASTERS = Table(
    "rasters",
    None,
    tr("GeoTIFFs that belong to this survey; no area_id means a whole level."),
    (
        *texts(path="file, as seen from the folder of survey.gpkg"),
        Field(
            "content",
            str,
            "echo strength by depth, slab thickness, or the area that each cell comes from",
            RASTER_CONTENTS,
        ),
        *PLANE,
        AREA_ID,
        *numbers(levelled_db="what the raster of the level adds to the values of this area, dB"),
    ),
)
RUN_LOG = Table(
    "run_log",
    None,
    tr("The steps that made this file, in order."),
    (
        *counts(step_number="1, 2 and so on"),
        *texts(
            step="name of the step",
            parameters="its parameters (JSON)",
            software_version="version of Inslab that ran it",
            inputs="fingerprints of the files that it read, by group (JSON)",
        ),
    ),
)
INPUT_FILES = Table(
    "input_files",
    None,
    tr("Files that the latest step read: BLAKE2b of their content."),
    texts(
        content="group that the file belongs to",
        file="file, as seen from the survey folder",
        fingerprint="fingerprint of its content",
    ),
)
