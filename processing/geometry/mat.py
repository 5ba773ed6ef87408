"""What a mat is: three or more bars that run one way in one layer, side by side, neighbours 50 mm to 0.6 m apart.

The one home of what counts as parallel, as one layer and as side by side. The answer depends on what is known when it is asked:

- *while one area is searched* (`tracks.search`, `tracks.artefacts`, `items.describe`, `items.naming`, `items.kinds`): bars stand on
  one scale of depth and their errors are common, so that the tolerances are narrow and follow the wavelength;
- *of items on the site grid* (`items.mats`, missing bars in `floor.hidden_ground`): depths carry each item's 1-sigma;
- *where bars hide what lies below* (`floor.shadows`, `floor.hidden_ground`): what a wave cannot get through need not be a neat mat,
  so that the tolerances are wide; an error there lies on the side of unknown ground.
"""

import numpy as np

FEWEST_BARS = 3
# Neighbours of one mat are no further apart, a missing bar between them included (common practice, no source).
FARTHEST_M = 0.60
# Two bars closer than this are a lap or a bundle and count as one place: lapped bars lie at most 50 mm or four diameters apart
# (EN 1992-1-1:2004, 8.7.2 (3); from memory).
LAP_M = 0.050

# Items on the site grid: bars of one mat are laid by eye, a degree or two from one another; short ones are seen a degree worse.
ONE_DIRECTION_RAD = np.radians(5.0)
# Depths of one layer differ by this (chairs and sag: common practice, no source), or by three sigmas of the difference (0.27 % of
# true neighbours are turned away), and never by more than two layers of 20 mm bars with one across between them do.
SAME_DEPTH_M, DEPTH_SIGMAS, MOST_DEPTH_M = 0.020, 3.0, 0.040

# While searching: slopes (metres across for each metre along the lines' normal, about 2.6 degrees) and dips of the bars of one mat.
SAME_SLOPE, FLAT_DIP = 0.045, 0.041
# Echoes of one another (multiples, limbs, double bounces) are as parallel as the objects that throw them, less surely seen.
PARALLEL_ECHO_SLOPE = 0.08
# Between objects of one area, found from lines of either direction; one that runs further off any mat is none of its bars.
ONE_DIRECTION_IN_AREA_DEG, OFF_MAT_DEG = 3.0, 4.0
# A bar changes depth by no more than this a metre; what changes more is draped.
FLAT_SLOPE = 0.02
# Upper bars along the lines, within 25 degrees of them and this far aside, disturb what lies below them on those passes.
ALONG_LINES, BESIDE_M = 0.9, 0.035

# Where bars hide what is below: side by side within this angle, in one layer within this part of the wavelength.
SIDE_BY_SIDE_RAD = np.radians(15.0)
HIDING_LAYER_WAVELENGTHS = 0.5
# A row of bars lets a wave polarized along them pass freely only where their axes are more than about a wavelength apart (common
# practice, no source): below a denser row, what was found is kept, but nothing counts as clear.
DENSE_WAVELENGTHS = 1.0
# An opening between rows that cross is a waveguide below cut-off where it is narrower than half a wavelength: next to nothing gets
# through (rectangular waveguide, Pozar, Microwave Engineering, ch. 3, from memory); the ground below counts as not scanned.
# What is open between two axes is less by a diameter, which is not measured.
OPENING_WAVELENGTHS, USUAL_DIAMETER_M = 0.5, 0.016


def layer_m(sigma_depth_m):
    """By how much depths of one mat's neighbours on the site grid may differ, for the 1-sigma of their difference, metres."""
    return np.minimum(np.maximum(SAME_DEPTH_M, DEPTH_SIGMAS * np.asarray(sigma_depth_m)), MOST_DEPTH_M)


def layer_in_area_m(wavelength_m: float) -> float:
    """By how much depths of one mat's bars may differ while one area is searched, metres."""
    return max(0.012, 0.15 * wavelength_m)
