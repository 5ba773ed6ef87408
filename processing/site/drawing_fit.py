"""Where a drawing lies on the site grid: similarity or affine transformation by points known in both, with residuals."""

from dataclasses import dataclass, field
from typing import Iterable, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError, SurveyError
from ..common.language import tr
from .statistics import critical_tau

SIMILARITY, AFFINE = "similarity", "affine"
SIGNIFICANCE = 0.01
ROUNDING_M = 1e-7  # residuals below this are those of the arithmetic
DRAWING_COLUMNS, PIXEL_COLUMNS, SITE_COLUMNS = (
    ("drawing_x", "drawing_y"),
    ("pixel_column", "pixel_row"),
    ("site_x_m", "site_y_m"),
)


@dataclass(frozen=True)
class DrawingPair:
    """One point in the drawing's own coordinates (a picture: column and row, from the upper left corner of the upper left pixel,
    rows downwards) and in the site grid, metres.
    """

    point_id: str
    drawing: Tuple[float, float]
    site_m: Tuple[float, float]


@dataclass(frozen=True)
class DrawingFit:
    """site = matrix @ drawing + shift, by least squares.

    Attributes
    ----------
    matrix, shift_m : (2, 2) and (2,) ndarray
        In the drawing's own coordinates; a picture's rows count downwards.
    residual_m : ndarray, shape (pair, 2)
        Fitted minus given, metres.
    sigma_m : float or None
        1-sigma of one coordinate as the residuals show it; None where nothing is left over.
    ratio : tuple
        Larger residual of each pair over its own sigma (Pope's tau), None where nothing checks it.
    scales_m : (float, float)
        Metres a unit along the drawing's x and y.
    rotation_deg : float
        Direction of the drawing's x in the site grid, anticlockwise.
    """

    method: str
    pairs: Tuple[DrawingPair, ...]
    matrix: np.ndarray = field(compare=False)
    shift_m: np.ndarray = field(compare=False)
    residual_m: np.ndarray = field(compare=False)
    sigma_m: Optional[float]
    ratio: Tuple[Optional[float], ...]
    warnings: Tuple[str, ...] = ()

    def to_site(self, drawing) -> np.ndarray:
        """Site coordinates, metres, shape (n, 2)."""
        return np.asarray(drawing, float) @ self.matrix.T + self.shift_m

    @property
    def scales_m(self) -> Tuple[float, float]:
        return tuple(float(np.hypot(*column)) for column in self.matrix.T)

    @property
    def rotation_deg(self) -> float:
        return float(np.degrees(np.arctan2(self.matrix[1, 0], self.matrix[0, 0])))

    @property
    def rms_m(self) -> float:
        """Root mean square length of the residuals, metres."""
        return float(np.sqrt(np.mean(np.sum(self.residual_m**2, axis=1))))


def pairs_from_rows(rows: Iterable[Tuple[Mapping, Optional[Sequence[float]]]], is_picture: bool) -> List[DrawingPair]:
    """Pairs from the rows of a table or the features of a point layer: (values by column, position or None).

    A picture needs the columns pixel_column and pixel_row, linework drawing_x and drawing_y; the site position is the feature's,
    or stands in site_x_m and site_y_m. Raises `SurveyError` naming the row.
    """
    columns = PIXEL_COLUMNS if is_picture else DRAWING_COLUMNS
    pairs = []
    for number, (values, position) in enumerate(rows, 1):
        values = {str(name).lower(): value for name, value in values.items()}
        name = str(values.get("point_id") or number)
        if position is None:
            position = [_number(values, column, name) for column in SITE_COLUMNS]
        drawing = [_number(values, column, name) for column in columns]
        pairs.append(DrawingPair(name, tuple(drawing), tuple(float(part) for part in position[:2])))
    return pairs


def _number(values: Mapping, column: str, name: str) -> float:
    if column not in values:
        raise SurveyError(
            tr(
                "The control points of the drawing lack the column {column}; they have {values}.",
                column=column,
                values=", ".join(values),
            )
        )
    try:
        number = float(values[column])
    except (TypeError, ValueError):
        number = float("nan")
    if not np.isfinite(number):
        raise SurveyError(
            tr(
                "Control point {name} of the drawing: {column} is '{value}', not a number.",
                name=name,
                column=column,
                value=values[column],
            )
        )
    return number


def fit_drawing(pairs: Sequence[DrawingPair], method: str, is_picture: bool) -> DrawingFit:
    """The transformation that fits best, all points counting alike.

    Raises `ProcessingError` where there are too few points or they lie on one line or at one place.
    """
    needed = {SIMILARITY: 2, AFFINE: 3}[method]
    if len(pairs) < needed:
        raise ProcessingError(
            tr(
                "Fitting a drawing takes {needed} or more points ({method}); there are {count}.",
                needed=needed,
                method=method,
                count=len(pairs),
            )
        )
    drawing, site = (np.array([getattr(pair, name) for pair in pairs], float) for name in ("drawing", "site_m"))
    flip = np.array([1.0, -1.0 if is_picture else 1.0])  # rows count downwards
    local = drawing * flip
    centre, middle = local.mean(axis=0), site.mean(axis=0)
    spread = np.linalg.svd(local - centre, compute_uv=False)
    if spread[0] == 0 or (method == AFFINE and spread[1] < 1e-3 * spread[0]) or not np.ptp(site, axis=0).any():
        raise ProcessingError(tr("The control points of the drawing coincide or lie on one line; choose others."))
    size = spread[0]
    design = _design((local - centre) / size, method)
    solution, _, _, _ = np.linalg.lstsq(design, (site - middle).ravel(), rcond=None)
    if method == SIMILARITY:
        a, b = solution[:2]
        matrix = np.array([[a, -b], [b, a]]) / size
    else:
        matrix = solution[:4].reshape(2, 2) / size
    shift = middle + solution[-2:] - matrix @ centre
    residual = (design @ solution).reshape(-1, 2) - (site - middle)
    redundancy = 1.0 - np.sum((design @ np.linalg.inv(design.T @ design)) * design, axis=1).reshape(-1, 2)
    freedom = 2 * len(pairs) - design.shape[1]
    sigma = float(np.sqrt(np.sum(residual**2) / freedom)) if freedom else None
    checked = redundancy > 1e-6
    ratio = [None] * len(pairs)
    if sigma and sigma > ROUNDING_M:
        over = np.where(checked, np.abs(residual) / (sigma * np.sqrt(np.where(checked, redundancy, 1.0))), np.nan)
        ratio = [None if np.isnan(both).all() else float(np.nanmax(both)) for both in over]
    fit = DrawingFit(method, tuple(pairs), matrix * flip, shift, residual, sigma, tuple(ratio))
    warnings = _warnings(fit, local, site, freedom)
    return DrawingFit(method, fit.pairs, fit.matrix, shift, residual, sigma, fit.ratio, tuple(warnings))


def _design(local: np.ndarray, method: str) -> np.ndarray:
    """Rows x, y of each point; unknowns a, b (or the four of the matrix) and the shift."""
    x, y = local.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    if method == SIMILARITY:
        rows = np.stack([[x, -y, one, zero], [y, x, zero, one]])
    else:
        rows = np.stack([[x, y, zero, zero, one, zero], [zero, zero, x, y, zero, one]])
    return rows.transpose(2, 0, 1).reshape(2 * len(local), -1)


def _warnings(fit: DrawingFit, local, site, freedom: int) -> List[str]:
    out = []
    if not freedom:
        out.append(tr("Nothing checks the fit: there are no redundant points; add one or two more."))
    mirrored = np.linalg.det((local - local.mean(axis=0)).T @ (site - site.mean(axis=0))) < 0
    if mirrored and len(fit.pairs) > 2:
        out.append(
            tr(
                "The points fit a mirror image of the drawing better: is it seen from below, or are points mixed up? "
                "If that is intended, use the method {affine}.",
                affine=AFFINE,
            )
        )
    worst = max((ratio, n) for n, ratio in enumerate([r or 0.0 for r in fit.ratio]))
    if freedom > 1 and worst[0] > critical_tau(freedom, SIGNIFICANCE):
        n = worst[1]
        out.append(
            tr(
                "Control point {point_id} disagrees with the others by {off:.0f} mm; check it. It was used.",
                point_id=fit.pairs[n].point_id,
                off=1000 * np.hypot(*fit.residual_m[n]),
            )
        )
    return out
