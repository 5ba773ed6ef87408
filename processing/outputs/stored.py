"""Reading back what an earlier step left in survey.gpkg."""

from pathlib import Path
from typing import Dict, List, Mapping

from ..errors import SurveyError
from ..monitor import Monitor
from ..radar.model import WaveSpeed
from ..survey.model import Survey
from ..survey.read import read_survey
from .geopackage import read_layer, read_metadata
from .layers import RELATIVE_FOLDER_KEY, SAMPLE_INTERVAL_KEY, SURVEY_FOLDER_KEY


def read_stored_survey(survey_path, monitor: Monitor = Monitor()) -> Survey:
    """The survey that `survey_path` was made from, read again from its folder.

    The folder is looked for where it was, then where it would be if folder and GeoPackage were moved together.
    Raises `SurveyError` if neither is there.
    """
    survey_path = Path(survey_path)
    folder, relative = (read_metadata(survey_path, key) for key in (SURVEY_FOLDER_KEY, RELATIVE_FOLDER_KEY))
    if not folder:
        raise SurveyError(f"{survey_path} does not say from which survey folder it was made; read the survey again.")
    candidates = [Path(folder)] + ([survey_path.resolve().parent / relative] if relative else [])
    found = next((candidate for candidate in candidates if candidate.is_dir()), None)
    if found is None:
        raise SurveyError(
            f"The survey folder {folder} of {survey_path.name} is not there any more; read the survey again."
        )
    interval = read_metadata(survey_path, SAMPLE_INTERVAL_KEY)
    return read_survey(found, float(interval) if interval else None, monitor)


def read_wave_speeds(survey_path) -> Dict[str, WaveSpeed]:
    """Wave speeds by area id from the layer `wave_speeds`; empty where there is none."""
    rows = [values for _, values in read_layer(survey_path, "wave_speeds")]
    return {
        row["area_id"]: WaveSpeed(
            row["area_id"],
            row["speed_m_ns"],
            row["sigma_m_ns"],
            row["time_zero_ns"],
            row["sigma_time_zero_ns"],
            row["method"],
            row["correlation"] or 0.0,
            tuple((row["warnings"] or "").splitlines()),
        )
        for row in rows
    }


def read_run_log(survey_path) -> List[Mapping]:
    """The rows of `run_log`, in order."""
    return [values for _, values in read_layer(survey_path, "run_log")]


def read_raster_paths(survey_path) -> List[Path]:
    """Absolute paths of the rasters that the survey lists; empty where there is no survey yet."""
    survey_path = Path(survey_path)
    if not survey_path.is_file():
        return []
    return [survey_path.resolve().parent / values["path"] for _, values in read_layer(survey_path, "rasters")]
