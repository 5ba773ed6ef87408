"""Where a scan area lies: the rigid transformation between its local grid and the site grid.

A `top` area is a plan: its local grid is turned and shifted. A `soffit` is drawn as seen from below, so in plan its local y
runs the other way round (mirrored). A `wall` is drawn as seen from the front; its site coordinates are those of the wall's
elevation plane (x along the wall, y up), which its control points give, and must never be mixed with plan coordinates.
"""

from dataclasses import dataclass, field
from typing import Optional, Tuple

import numpy as np

FITTED = "fitted"
NOT_POSITIONED = "not positioned"
POSITION_STATUSES = (FITTED, NOT_POSITIONED)


@dataclass(frozen=True)
class PointFit:
    """How well one control point fits.

    Attributes
    ----------
    residual_m : (2,) ndarray or None
        Fitted minus given site position, metres; None for a point that was not used.
    redundancy : (2,) ndarray or None
        Redundancy numbers of the two coordinates, 0 to 1: the share of an error that shows in the residual.
    standardized : float or None
        Larger of the two residuals over its own 1-sigma; None where nothing checks the point.
    detectable_m : (2,) ndarray or None
        Smallest error of each coordinate that the test finds with the stated power, metres.

    A point that the test left out is not `used`, and its residual is against the position that the others give.
    """

    point_id: str
    used: bool
    residual_m: Optional[np.ndarray] = field(default=None, compare=False)
    redundancy: Optional[np.ndarray] = field(default=None, compare=False)
    standardized: Optional[float] = None
    detectable_m: Optional[np.ndarray] = field(default=None, compare=False)

    @property
    def residual_length_m(self) -> float:
        return float(np.hypot(*self.residual_m))


@dataclass(frozen=True)
class AreaFit:
    """The position of one scan area in the site grid, and how sure it is.

    site = shift + scale R(rotation) M local, with M = diag(1, -1) where `mirrored`; so `rotation_rad` is the direction of the
    local x axis in the site grid, anticlockwise.

    Attributes
    ----------
    shift_m : (2,) ndarray
        Site position of the local origin, metres.
    centroid_m : (2,) ndarray
        Local point about which `covariance` holds: the one whose position is known best, metres.
    covariance : (3, 3) or (4, 4) ndarray
        Of the site position of the centroid and of the rotation [m, m, rad], and of the scale where it was free: from the
        observations' own sigmas, enlarged where the residuals are significantly larger than those.
    scale : float
        1, unless a scale of the instrument was adjusted.
    sigma0 : float or None
        Square root of the variance factor of the area's own observations (1 where residuals are as large as the sigmas say);
        None with no redundancy.
    degrees_of_freedom : float
        Sum of the redundancy numbers of the area's own observations.
    points : tuple of PointFit
        One for each control point of the area, in its order.
    warnings : tuple of str
        Sentences for the surveyor.
    """

    area_id: str
    status: str
    rotation_rad: float = 0.0
    shift_m: Optional[np.ndarray] = field(default=None, compare=False)
    mirrored: bool = False
    centroid_m: Optional[np.ndarray] = field(default=None, compare=False)
    covariance: Optional[np.ndarray] = field(default=None, compare=False)
    sigma0: Optional[float] = None
    degrees_of_freedom: float = 0.0
    points: Tuple[PointFit, ...] = ()
    warnings: Tuple[str, ...] = ()
    scale: float = 1.0

    @property
    def is_fitted(self) -> bool:
        return self.status == FITTED

    @property
    def _matrix(self) -> np.ndarray:
        cos, sin = np.cos(self.rotation_rad), np.sin(self.rotation_rad)
        handed = -1.0 if self.mirrored else 1.0
        return np.array([[cos, -sin * handed], [sin, cos * handed]])

    def to_site(self, local_m) -> np.ndarray:
        """Site coordinates of local ones, metres, shape (n, 2)."""
        return self.scale * np.asarray(local_m, float) @ self._matrix.T + self.shift_m

    def to_local(self, site_m) -> np.ndarray:
        """Local coordinates of site ones, metres, shape (n, 2)."""
        return (np.asarray(site_m, float) - self.shift_m) @ self._matrix / self.scale

    def covariance_at(self, local_m) -> np.ndarray:
        """Covariance of the site position of local points from the fit alone, m², shape (n, 2, 2)."""
        arm = (np.atleast_2d(np.asarray(local_m, float)) - self.centroid_m) @ self._matrix.T
        jacobian = np.zeros((len(arm), 2, len(self.covariance)))
        jacobian[:, 0, 0] = jacobian[:, 1, 1] = 1.0
        jacobian[:, 0, 2], jacobian[:, 1, 2] = -self.scale * arm[:, 1], self.scale * arm[:, 0]
        jacobian[:, :, 3:] = arm[:, :, None]
        return jacobian @ self.covariance @ np.swapaxes(jacobian, 1, 2)

    def sigma_at(self, local_m) -> np.ndarray:
        """1-sigma of the site position of local points from the fit alone, pooled over the two axes, metres, shape (n,)."""
        return np.sqrt(np.trace(self.covariance_at(local_m), axis1=1, axis2=2) / 2.0)

    @property
    def rms_residual_m(self) -> Optional[float]:
        """Root mean square of the residual lengths, metres."""
        lengths = [point.residual_length_m for point in self.points if point.used]
        return float(np.sqrt(np.mean(np.square(lengths)))) if lengths else None

    @property
    def worst_residual_m(self) -> Optional[float]:
        """Largest residual length, metres."""
        return max((point.residual_length_m for point in self.points if point.used), default=None)

    @property
    def sigma_xy_m(self) -> Optional[float]:
        """1-sigma of position where the fit is best (at the centroid), pooled over the two axes, metres."""
        return float(self.sigma_at(self.centroid_m)[0]) if self.is_fitted else None
