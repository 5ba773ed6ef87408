"""How a step begins and ends: the survey read or opened again, and what was found written to survey.gpkg."""

from pathlib import Path
from typing import List, Mapping, Sequence, Tuple

from ...area import compute
from ...area.settings import RunSettings
from ...common.errors import ProcessingError
from ...common.language import tr
from ...common.monitor import Monitor
from ...edits import hand_edits, settling
from ...floor import fitting
from ...floor.mats import find_all_mats
from ...floor.result import ChainResult
from ...store import fingerprints, fit_layers, item_layers, layers, reading
from ...store.geopackage import check_replaceable, read_layer, replace_layers, write_geopackage
from ...store.item_layers import bridged_layer, mat_layer
from ...store.layer import Layer
from ...store.schema import SCAN_AREAS
from ...survey.read import read_survey

SURVEY_FILE, REPORT_FILE = "survey.gpkg", "report.html"


SAID_OF_ITEMS = (settling.HAND, settling.JOINING)


def start(survey_folder, survey_path: Path, settings: RunSettings, monitor: Monitor) -> ChainResult:
    """Read the survey and fit its areas. An earlier result at `survey_path` passes its site grid on."""
    seconds = {}
    with compute.timed(seconds, "read"):
        inputs = fingerprints.survey_inputs(survey_folder)
        survey = read_survey(Path(survey_folder), settings.sample_interval_ns, monitor)
    monitor.log(
        tr("Read {count} scan areas with {line_count} lines.", count=len(survey.areas), line_count=survey.line_count)
    )
    result = ChainResult(survey_path, survey, seconds=seconds, crs_wkt=reading.read_crs_wkt(survey_path), inputs=inputs)
    result.findings.extend(survey.findings)
    settling.check_same_survey(survey_path, survey)
    fitting.read_given(result, monitor)
    fitting.fit(result, settings.fit, monitor)
    return result


def reopen(survey_path, monitor: Monitor) -> ChainResult:
    """The survey that an earlier step wrote to `survey_path`, with the wave speeds it holds."""
    survey_path = Path(survey_path)
    check_replaceable(survey_path)
    seconds = {}
    with compute.timed(seconds, "read"):
        inputs = fingerprints.survey_inputs(reading.find_survey_folder(survey_path))
        survey = reading.read_stored_survey(survey_path, monitor)
        known = {values[SCAN_AREAS.area_id] for _, values in read_layer(survey_path, SCAN_AREAS.name)}
    if known != {area.area_id for area in survey.areas}:
        raise ProcessingError(
            tr(
                "The scan areas in the survey folder {folder} differ from those in {name}; read the survey again.",
                folder=survey.folder,
                name=survey_path.name,
            )
        )
    speeds = {key: speed for key, speed in reading.read_wave_speeds(survey_path).items() if key in known}
    crs_wkt = reading.read_crs_wkt(survey_path)
    result = ChainResult(survey_path, survey, wave_speeds=speeds, seconds=seconds, crs_wkt=crs_wkt, inputs=inputs)
    result.findings.extend(survey.findings)
    result.fits = reading.read_fits(survey_path, survey)
    return result


def found_layers(result: ChainResult) -> List[Layer]:
    """What was found, with what a surveyor edited; to be written together, so that later edits are told from it."""
    picks = item_layers.pick_layer(result.picks, result.areas, result.fits, result.joined_as, result.drawn_picks)
    items = item_layers.item_layer(result.items, result.areas, result.fits, result.depths, result.by_hand)
    return [
        picks,
        items,
        bridged_layer(result.items, result.picks, result.areas, result.fits, result.joined_as),
        layers.coverage_layer(result.coverage, result.areas, result.fits),
        item_layers.area_item_layer(result.area_items),
        item_layers.area_depth_layer(result.depths),
        mat_layer(find_all_mats(result)),
        hand_edits.dismissed_layer(result.dismissed),
        hand_edits.last_written_layer(result.items, items, result.picks, picks),
    ]


def write_survey(result: ChainResult, path: Path, further: Sequence[Layer], sample_interval_ns, steps) -> None:
    """A new GeoPackage at `path`, which may still be on its way to `result.survey_path`."""
    written = [
        *layers.survey_layers(result.survey, result.fits),
        *fit_layers.fit_layers(result.areas, result.site_fit, result.all_observations, result.seams),
        *further,
        layers.finding_layer(result.findings),
        layers.run_log_layer([], steps, fingerprints.summary(result.inputs)),
        fingerprints.input_layer(result.inputs),
    ]
    metadata = layers.survey_metadata(result.survey, result.survey_path, sample_interval_ns, result.crs_wkt)
    write_geopackage(path, written, result.crs_wkt, metadata)


def update_survey(
    result: ChainResult,
    changed: Sequence[Layer],
    steps: Sequence[Tuple[str, Mapping]],
    keep_findings: bool = True,
    said_anew: Sequence[str] = (),
) -> None:
    """Put what a step found into the GeoPackage it started from; run log and (unless they were taken over) findings grow.

    Earlier findings at one of the places `said_anew` go.
    """
    path = result.survey_path
    earlier = reading.read_findings(path, but_of=said_anew) if keep_findings else []
    findings = [*earlier, *(found for found in result.findings if found not in earlier)]
    grown = [
        layers.wave_speed_layer(result.wave_speeds),
        layers.finding_layer(findings),
        layers.run_log_layer(reading.read_run_log(path), steps, fingerprints.summary(result.inputs)),
        fingerprints.input_layer(result.inputs),
    ]
    replace_layers(path, [*changed, *grown], result.crs_wkt)
