"""What a record holds: its tables, their fields, and the words allowed in them. The one place that says so.

Both stores make their tables from `TABLES`, and the table of fields in `docs/record.md` is made from it, too. `items` holds
every field of a survey's layer `items`, under the same name and with the same meaning, so that what reads one reads the other.
"""

from typing import Mapping

from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import ITEM_STATUSES, OUTCOMES
from ..common.vocabulary.surfaces import SURFACES
from ..site.frame import POSITION_STATUSES
from ..store.schema_items import PROBABILITIES
from ..store.table_schema import Field, Table, counts, numbers, texts

SCHEMA_VERSION = "1"
GEOMETRY = "geom"

SEEN, NOT_SEEN = "seen", "not_seen"
EXPOSURES = ("core", "drill_hole", "breakout")
METHODS = (*EXPOSURES, "drawing")
# Words of ASCE 38 and PAS 128, see docs/record.md: A exposed, B found by geophysics, D from documents alone.
QUALITY_LEVELS = ("A", "B", "D")


_LEVEL = Field("level", str, "level, or the elevation of a wall")
_SURFACE = Field("surface", str, "surface that was scanned; depths count from it", tuple(SURFACES))
_SURVEY = Field("survey_id", str, "survey it comes from")
_KIND = Field("kind", str, "most probable kind", tuple(KINDS))
_SCANNED = Field("scanned_on", str, "date of the scan, as the survey states it")

# What an item and an observation of it have in common; the names are those of a survey's layer `items`.
_SIGHTED = (
    _KIND,
    *numbers(
        kind_confidence="probability of that kind, 0 to 1",
        confidence="probability that there is an object here at all, 0 to 1",
        depth_min_m="least depth to its top below the scanned surface, metres",
        depth_max_m="greatest depth to its top, metres",
        sigma_xy_m="1-sigma across it in plan, the fit to the site grid included, metres",
        sigma_depth_m="1-sigma of its depth, the wave speed included, metres",
    ),
    *counts(pick_count="number of scan lines that show it"),
    *texts(area_ids="scan areas that see it, separated by commas"),
    _LEVEL,
    _SURFACE,
    Field("status", str, "what is known of it", ITEM_STATUSES),
    *texts(source="computed, or surveyor where a person drew or changed it"),
    *PROBABILITIES,
    *numbers(
        length_m="length in plan, metres",
        other_face_min_m="least distance of its top from the other face of the slab, metres",
        other_face_max_m="greatest distance of its top from the other face, metres",
        sigma_other_face_m="1-sigma of that distance, metres",
    ),
    *texts(
        reasons="why this kind, in words",
        flag="what a person must check, in words; empty where nothing is doubtful",
        local_geometry="course in the area's own grid (JSON), where the area has no position on the site grid",
    ),
)

ABOUT = Table(
    "about",
    None,
    "what the file is",
    texts(name="schema_version, or crs_wkt: the coordinate system of the site grid", value="its value"),
)
LEVELS = Table(
    "levels",
    None,
    "levels of the building, and elevations of walls",
    (
        _LEVEL,
        *numbers(elevation_m="height of the level, metres, where somebody entered it"),
        *texts(note="free text"),
    ),
)
SURVEYS = Table(
    "surveys",
    None,
    "surveys that were merged",
    texts(
        survey_id="S1, S2 and so on",
        source_file="survey.gpkg that was read last",
        survey_folder="folder of the survey's raw data, as that file names it",
        scanned_from="earliest date of its areas",
        scanned_to="latest date of its areas",
        scanned_by="who scanned, as the survey states it",
        identity="areas by which the survey is known again when it was processed anew (JSON)",
        content="fingerprint (SHA-256) of all that was recorded of it",
        software_version="version of Inslab that recorded it",
        note="free text",
    ),
)
SCAN_AREAS = Table(
    "scan_areas",
    "Polygon",
    "where was scanned, and the wave speed there",
    (
        Field("area_key", str, "survey and area, as S1/A1"),
        _SURVEY,
        *texts(area_id="name of the area in its survey"),
        _LEVEL,
        _SURFACE,
        Field("status", str, "whether it has a position on the site grid", POSITION_STATUSES),
        _SCANNED,
        *texts(scanned_by="who scanned"),
        *numbers(
            sigma_xy_m="1-sigma of its position where the fit is best, metres",
            antenna_separation_m="distance of transmitter and receiver, metres",
            centre_frequency_mhz="centre frequency of the antenna, MHz",
            survey_speed_m_ns="wave speed as the survey estimated it, m/ns",
            survey_sigma_m_ns="its 1-sigma, m/ns",
            survey_time_zero_ns="time zero as the survey estimated it, ns",
            survey_sigma_time_zero_ns="its 1-sigma, ns",
            survey_correlation="correlation of the errors of both",
            speed_m_ns="wave speed with the depths that were verified, m/ns",
            sigma_m_ns="its 1-sigma, m/ns",
            time_zero_ns="time zero with the depths that were verified, ns",
            sigma_time_zero_ns="its 1-sigma, ns",
            correlation="correlation of the errors of both",
            reliable_m="depth to which the survey counts it as scanned, metres",
            thickness_m="slab thickness, metres, where it is known",
            sigma_thickness_m="its 1-sigma, metres",
        ),
        *texts(
            survey_method="how the survey estimated the wave speed",
            verified_by="verifications that take part in the wave speed, separated by commas",
            control_points="site coordinates of the control points used, metres (JSON)",
            fit="fit to the site grid, to the last digit (JSON)",
            warnings="what speaks against the wave speed, in words",
        ),
    ),
)
COVERAGE = Table(
    "coverage",
    "Polygon",
    "what counts as scanned, and to which depth; everything else is unknown",
    (
        Field("coverage_id", str, "survey and number, as S1/3"),
        _SURVEY,
        *texts(area_key="scan area"),
        _LEVEL,
        _SURFACE,
        *numbers(
            depth_m="depth to which it counts as scanned, with the present wave speed, metres; empty: to no depth",
            survey_depth_m="the same as the survey stated it, metres",
            sigma_xy_m="1-sigma of its position, metres",
        ),
        *counts(line_directions="2 where lines cross; 1 where objects along the lines can be missed"),
        _SCANNED,
        *texts(note="why it is less deep than elsewhere"),
    ),
)
ITEMS = Table(
    "items",
    "LineStringZ",
    "one row for each real object, from all its observations and verifications; height of a vertex = minus its depth",
    (
        Field("item_id", str, "I1, I2 and so on; never used again"),
        *_SIGHTED,
        *counts(
            observation_count="number of surveys that saw it",
            not_seen_count="number of surveys that should have and did not",
        ),
        *texts(
            survey_ids="surveys that saw it, separated by commas",
            first_seen_on="date of the first scan that saw it",
            last_seen_on="date of the latest scan that saw it",
        ),
        Field("quality_level", str, "A exposed, B found by radar, D from a drawing alone", QUALITY_LEVELS),
        *texts(
            verified_on="date of the latest verification",
            verified_by="who verified it",
            part_of="item that it turned out to be a part of",
            note="free text of the record's owner; no run changes it",
        ),
    ),
)
OBSERVATIONS = Table(
    "observations",
    "LineStringZ",
    "what each survey says of each item; course, depths and sigmas as that survey stated them",
    (
        Field("observation_id", str, "survey and its own item, as S1/A1-3"),
        *texts(item_id="item of the record"),
        _SURVEY,
        *texts(survey_item_id="name of the item in its survey"),
        Field("outcome", str, "not_seen: the survey reached its depth there and did not see it", (SEEN, NOT_SEEN)),
        _SCANNED,
        *_SIGHTED,
        *numbers(
            sigma_own_xy_m="part of sigma_xy_m that no other item shares, metres",
            sigma_fit_m="part of sigma_xy_m from the fit to the site grid, metres",
            sigma_own_depth_m="part of sigma_depth_m that no other item shares, metres",
            sigma_speed_m="part of sigma_depth_m from wave speed and time zero, metres",
            depth_shift_m="what verified depths add to its depth, by the wave speed, metres",
            unseen_length_m="length over which it was not seen, metres",
        ),
    ),
)
VERIFICATIONS = Table(
    "verifications",
    "PointZ",
    "openings of the concrete and other proofs; height = minus the measured depth",
    (
        Field("verification_id", str, "V1, V2 and so on"),
        *texts(item_id="item that was verified"),
        Field("outcome", str, "whether the item is there; withdrawn: entered by mistake", OUTCOMES),
        Field("method", str, "how it was verified", METHODS),
        _LEVEL,
        _SURFACE,
        *numbers(
            depth_m="depth to its top as measured, metres",
            sigma_depth_m="1-sigma of that, metres",
            sigma_xy_m="1-sigma of the position as measured, metres; empty: the position was not measured",
            depth_before_m="depth that the record stated there before, metres",
            sigma_before_m="its 1-sigma, metres",
        ),
        Field("kind", str, "kind that was found", tuple(KINDS)),
        *texts(
            verified_on="date",
            verified_by="who",
            photo="path of a photograph",
            note="free text",
        ),
    ),
)
PENETRATIONS = Table(
    "penetrations",
    "Point",
    "planned holes and what was said of them",
    (
        Field("penetration_key", str, "survey and penetration, as S1/P7"),
        _SURVEY,
        *texts(penetration_id="name of the hole"),
        _LEVEL,
        _SURFACE,
        *numbers(
            diameter_m="diameter, metres",
            depth_m="depth, metres",
            tolerance_m="1-sigma of setting out, metres",
            azimuth_deg="direction of an inclined hole, degrees",
            tilt_deg="inclination, degrees from the surface's normal",
            margin_m="room to the governing item beyond the keep-out distance, metres",
            sigma_margin_m="its 1-sigma, metres",
            touch_probability="probability of touching any known item",
        ),
        *texts(
            verdict="clear, too_close, hits or unknown, at the time of the check",
            governing_item="item of the record that leaves the least room",
            reason="why, in words",
            checked_on="date from which the verdict is recorded",
            note="free text of the record's owner; no run changes it",
        ),
    ),
)
DOCUMENTS = Table(
    "documents",
    None,
    "files that belong to the record: results, photographs, drawings",
    texts(
        document_id="D1, D2 and so on",
        path="path or address",
        what="what it is",
        belongs_to="table of the row that it belongs to",
        row_id="key of that row",
        dated="its date",
        by_whom="who made it",
    ),
)
MATS = Table(
    "mats",
    None,
    "mats of bars as each survey describes them",
    (
        Field("mat_key", str, "survey and mat, as S1/M1"),
        _SURVEY,
        _LEVEL,
        _SURFACE,
        *texts(area_ids="scan areas", item_ids="items of the record that belong to it, separated by commas"),
        *counts(bar_count="number of bars"),
        *texts(description="direction, spacing and cover (JSON; names as in the survey's table mats)"),
    ),
)
SEAMS = Table(
    "seams",
    "LineString",
    "how far apart overlapping areas of one survey put an item",
    (
        Field("seam_id", str, "survey and number, as S1/2"),
        _SURVEY,
        _LEVEL,
        _SURFACE,
        *texts(area_id="one area", area_id_b="the other area"),
        *numbers(
            lateral_m="offset across, metres",
            sigma_lateral_m="expected 1-sigma of it, metres",
            depth_offset_m="offset in depth, metres",
            sigma_depth_m="expected 1-sigma of it, metres",
        ),
        Field("agrees", bool, "whether both are as small as expected"),
    ),
)
SET_ASIDE = Table(
    "set_aside",
    None,
    "what a surveyor deleted or replaced by hand; not proven to be absent",
    (
        Field("set_aside_id", str, "survey and number, as S1/4"),
        _SURVEY,
        *texts(
            layer="items or picks",
            row_id="name in the survey",
            area_id="scan area",
            kind="kind that was computed",
            instead="row that the surveyor put in its place",
            vertices_m="course: x, y and depth, metres (JSON)",
        ),
    ),
)
REVISIONS = Table(
    "revisions",
    None,
    "one row for each time that something changed",
    (
        *texts(revision="number, as text"),
        *texts(recorded_on="date given by the person", by_whom="who", what="what was done, in words"),
        *counts(change_count="number of rows that changed"),
        *texts(software_version="version of Inslab"),
    ),
)
CHANGES = Table(
    "changes",
    None,
    "every change of every row, with the whole row before and after; never changed itself",
    (
        *texts(change_id="revision and number, as 3/12", revision="revision it belongs to"),
        *texts(table_name="table", row_id="key of the row"),
        Field("action", str, "what happened to the row", ("insert", "update", "delete")),
        *texts(before="the row before (JSON)", after="the row after (JSON)"),
    ),
)

# What is kept with history.
KEPT = (
    *(LEVELS, SURVEYS, SCAN_AREAS, COVERAGE, ITEMS, OBSERVATIONS, VERIFICATIONS),
    *(PENETRATIONS, DOCUMENTS, MATS, SEAMS, SET_ASIDE),
)
TABLES: Mapping[str, Table] = {table.name: table for table in (ABOUT, *KEPT, REVISIONS, CHANGES)}
