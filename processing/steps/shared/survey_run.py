"""How steps on a survey begin and end: it is read anew or taken up again, and survey.gpkg is written anew or brought up to date."""

from dataclasses import replace
from pathlib import Path
from typing import Callable, Dict, List, Mapping, Sequence, Tuple

from ...area.compute import AreaResult, timed
from ...area.settings import RunSettings
from ...common.errors import ProcessingError
from ...common.language import tr, trn
from ...common.monitor import Monitor
from ...edits import hand_edits, settling
from ...floor import areas, fitting
from ...floor.mats import find_all_mats
from ...floor.result import Found, SurveyRead
from ...store import fingerprints, fit_layers, item_layers, layers, reading
from ...store.geopackage import check_layers, read_layer, replace_layers, write_geopackage
from ...store.item_layers import bridged_layer, mat_layer
from ...store.layer import Layer
from ...store.replacing import check_replaceable
from ...store.schema import CONTROL_POINTS, FINDINGS, RUN_LOG, SCAN_AREAS
from ...survey.fingerprint import FileState
from ...survey.model import ScanArea, Survey
from ...survey.read import SurveyReading

SURVEY_FILE, REPORT_FILE = "survey.gpkg", "report.html"
# What every joining of items says anew.
SAID_OF_ITEMS = (settling.HAND, settling.JOINING)


def begin_anew(survey_folder, survey_path, settings: RunSettings, monitor: Monitor) -> Tuple[SurveyRead, Found]:
    """The survey read from its folder and its areas fitted. An earlier result at `survey_path` passes its site grid on."""
    return _begin_anew(survey_folder, survey_path, settings, monitor, SurveyReading.finish)[1:]


class CheckedLater:
    """A survey read from its folder whose lines are decoded, and checked, by the work on its areas.

    Until then the samples of all lines are taken to be sound (`read`, `found`). `take` is handed each area's result; `finish` gives
    what `begin_anew` and `areas.with_known_depths` would have given, had they looked at the samples first.
    """

    def __init__(self, survey_folder, survey_path, settings: RunSettings, monitor: Monitor):
        self._settings, self._monitor = settings, monitor.saying_once()
        self._reading, read, found = _begin_anew(
            survey_folder, survey_path, settings, self._monitor, SurveyReading.begin
        )
        self.read, self.found = areas.with_known_depths(read, found, self._monitor)

    def take(self, area: ScanArea, own: AreaResult) -> None:
        """Tells what is wrong with the samples of an area's lines."""
        checks = {line.path: own.checks[line.name] for line in area.lines if line.name in own.checks}
        self._reading.learn(checks, self._monitor)

    def finish(self, found: Found) -> Tuple[SurveyRead, Found]:
        """The survey as it is, and `found`, which grew out of `self.found`, with what was to be said of it first."""
        monitor = replace(self._monitor, progress=Monitor().progress, log=Monitor().log)
        survey = self._reading.finish(monitor)
        read, begun = replace(self.read, survey=survey), self.found
        if survey.areas == self.read.survey.areas:
            further = begun.findings[len(self.read.survey.findings) :]
            begun = replace(begun, findings=(*survey.findings, *further))
        else:
            read = replace(read, known_depths=None)
            read, begun = _fit_anew(read, Found(findings=survey.findings), self._settings, monitor)
            read, begun = areas.with_known_depths(read, begun, monitor)
        findings = (*begun.findings, *found.findings[len(self.found.findings) :])
        return read, replace(found, findings=findings, site_fit=begun.site_fit, fits=begun.fits)


def _begin_anew(
    survey_folder, survey_path, settings: RunSettings, monitor: Monitor, read_it: Callable[..., Survey]
) -> Tuple[SurveyReading, SurveyRead, Found]:
    survey_path = Path(survey_path)
    seconds: Dict[str, float] = {}
    known: Dict[FileState, str] = {}
    with timed(seconds, "read"):
        inputs = fingerprints.survey_inputs(survey_folder, known)
        survey_reading = SurveyReading(Path(survey_folder), settings.sample_interval_ns)
        survey = read_it(survey_reading, monitor)
    monitor.log(
        tr(
            "Read {areas} with {lines}.",
            areas=trn("{count} scan area", "{count} scan areas", len(survey.areas)),
            lines=trn("{count} line", "{count} lines", survey.line_count),
        )
    )
    crs_wkt = reading.read_crs_wkt(survey_path)
    read = SurveyRead(survey_path, survey, crs_wkt, inputs=inputs, fingerprints=known)
    found = Found(findings=survey.findings, seconds=seconds)
    return (survey_reading, *_fit_anew(read, found, settings, monitor))


def _fit_anew(read: SurveyRead, found: Found, settings: RunSettings, monitor: Monitor) -> Tuple[SurveyRead, Found]:
    """With what was measured on site, and with all areas fitted by it."""
    settling.check_same_survey(read.survey_path, read.survey)
    read, found = fitting.read_given(read, found, monitor)
    return read, fitting.fit(read, found, settings.fit, monitor)


def begin_again(survey_path, monitor: Monitor) -> Tuple[SurveyRead, Found]:
    """The survey that an earlier step wrote to `survey_path`, with the places and wave speeds of its areas that it holds.

    Its tables and the headers of its lines are read; samples only where a file has changed (`reading.read_stored_survey`).
    Delimited text has no header that says how long it is: such a file is run through whole, its numbers are not decoded.
    """
    survey_path = Path(survey_path)
    check_replaceable(survey_path)
    seconds: Dict[str, float] = {}
    known: Dict[FileState, str] = {}
    with timed(seconds, "read"):
        inputs = fingerprints.survey_inputs(reading.find_survey_folder(survey_path), known)
        survey = reading.read_stored_survey(survey_path, inputs, monitor)
        area_ids = {values[SCAN_AREAS.area_id] for _, values in read_layer(survey_path, SCAN_AREAS.name)}
    if area_ids != {area.area_id for area in survey.areas}:
        raise ProcessingError(
            tr(
                "The scan areas in the survey folder {folder} differ from those in {name}; read the survey again.",
                folder=survey.folder,
                name=survey_path.name,
            )
        )
    check_layers(survey_path, (CONTROL_POINTS, FINDINGS, RUN_LOG))
    speeds = {key: speed for key, speed in reading.read_wave_speeds(survey_path).items() if key in area_ids}
    crs_wkt = reading.read_crs_wkt(survey_path)
    read = SurveyRead(survey_path, survey, crs_wkt, inputs=inputs, fingerprints=known)
    fits = reading.read_fits(survey_path, survey)
    return read, Found(fits=fits, wave_speeds=speeds, findings=survey.findings, seconds=seconds)


def found_layers(read: SurveyRead, found: Found) -> List[Layer]:
    """What was found, with what a surveyor edited; to be written together, so that later edits are told from it."""
    areas, fits = read.areas, found.fits
    picks = item_layers.pick_layer(found.picks, areas, fits, found.joined_as, found.drawn_picks)
    items = item_layers.item_layer(found.items, areas, fits, found.depths, found.by_hand)
    return [
        picks,
        items,
        bridged_layer(found.items, found.picks, areas, fits, found.joined_as),
        layers.coverage_layer(found.coverage, areas, fits),
        item_layers.area_item_layer(found.area_items),
        item_layers.area_depth_layer(found.depths),
        mat_layer(find_all_mats(read, found)),
        hand_edits.dismissed_layer(found.dismissed),
        hand_edits.last_written_layer(found.items, items, found.picks, picks),
    ]


def layers_of_fit(read: SurveyRead, found: Found) -> List[Layer]:
    """What the fit of all areas says of itself."""
    observations = read.observations.with_ties(found.item_ties)
    return fit_layers.fit_layers(read.areas, found.site_fit, observations, found.seams)


def end_anew(read: SurveyRead, found: Found, path: Path, further: Sequence[Layer], sample_interval_ns, steps) -> None:
    """A new GeoPackage at `path`, which may still be on its way to `read.survey_path`."""
    written = [
        *layers.survey_layers(read.survey, found.fits),
        *layers_of_fit(read, found),
        *further,
        layers.finding_layer(found.findings),
        layers.run_log_layer([], steps, fingerprints.summary(read.inputs)),
        fingerprints.input_layer(read.inputs),
    ]
    metadata = layers.survey_metadata(read.survey, read.survey_path, sample_interval_ns, read.crs_wkt)
    write_geopackage(path, written, read.crs_wkt, metadata)


def end_again(
    read: SurveyRead,
    found: Found,
    changed: Sequence[Layer],
    steps: Sequence[Tuple[str, Mapping]],
    keep_findings: bool = True,
    said_anew: Sequence[str] = (),
) -> None:
    """Put what a step found into the GeoPackage it started from; run log and (unless they were taken over) findings grow.

    Earlier findings at one of the places `said_anew` go.
    """
    path = read.survey_path
    earlier = reading.read_findings(path, but_of=said_anew) if keep_findings else []
    findings = [*earlier, *(one for one in found.findings if one not in earlier)]
    grown = [
        layers.wave_speed_layer(found.wave_speeds),
        layers.finding_layer(findings),
        layers.run_log_layer(reading.read_run_log(path), steps, fingerprints.summary(read.inputs)),
        fingerprints.input_layer(read.inputs),
    ]
    replace_layers(path, [*changed, *grown], read.crs_wkt)
