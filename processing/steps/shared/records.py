"""What the steps about a record share: its levels, its site grid, and the day from which it knows something."""

from typing import Dict, List, Optional

from ...common.errors import ProcessingError
from ...common.language import tr
from ...record.history import check_date
from ...record.open_store import open_store
from ...record.schema import LEVELS, TABLES


def site_grid(record: str) -> str:
    """WKT of the site grid that a record lies on."""
    with open_store(record).session() as session:
        return read_about(session)["crs_wkt"]


def levels_of(record: str) -> List[str]:
    """Names of the levels (and of the elevations of walls) that a record knows now."""
    with open_store(record).session() as session:
        return level_names(session)


def level_names(session) -> List[str]:
    return sorted({row[LEVELS.level] for row in session.read(LEVELS)})


def check_level(session, level: Optional[str]) -> None:
    """A level that the record has now but had not on an earlier day is no mistake: all of it was unknown then."""
    known = level_names(session)
    if level and level not in known:
        names = ", ".join(known) or tr("none")
        raise ProcessingError(tr("The record has no level {level}; it has: {known}.", level=level, known=names))


def read_about(session) -> Dict[str, str]:
    return {row["name"]: row["value"] for row in session.read(TABLES["about"])}


def day_of(given: str, own: Optional[str], latest: str) -> str:
    if given:
        return check_date(given)
    if not own and not latest:
        raise ProcessingError(
            tr(
                "The survey states no date for its scans: enter the date on which it is recorded, for example "
                "2031-05-04."
            )
        )
    return max(own or "", latest)


def newly_tied(session, crs_wkt: str, name: str) -> Optional[str]:
    """The survey's coordinate system where the record lies on the plain local grid still and the survey does not."""
    known = read_about(session).get("crs_wkt")
    from ...site.crs import local_crs_wkt

    if known != crs_wkt and local_crs_wkt() not in (known, crs_wkt):
        raise ProcessingError(
            tr(
                "The survey uses a different site grid from the record {record}; give both the same one with 'Define "
                "the site grid', or choose another record.",
                record=name,
            )
        )
    return crs_wkt if known == local_crs_wkt() != crs_wkt else None
