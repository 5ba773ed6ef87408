"""Reliable depth: where clutter drowns in noise, over a whole area and where the concrete swallows more."""

from dataclasses import replace

import numpy as np
from synthetic import SPEED_M_NS, area_over, held_line, prepared_area, ricker, scan_area

from inslab.processing.radar.imaging import find_base
from inslab.processing.radar.model import SlabBase, WaveSpeed
from inslab.processing.radar.preprocessing import prepare_area
from inslab.processing.radar.reliable_depth import CELL_M, reliable_depths

BAR = [((0.3, 0.0, 0.08), (0.0, 1.0, 0.0), -0.25)]
NOISE, CLUTTER = 1e-3, 0.02


def no_base():
    nothing = np.full((1, 1), np.nan)
    return SlabBase("A1", np.zeros(1), np.zeros(1), nothing, nothing)


def in_clutter(prepared, attenuation_per_ns):
    """`prepared` with clutter that dies away as exp(-a t), a a function of the traces' places (trace, 2), and with noise."""
    random = np.random.default_rng(3)
    lines = []
    for line in prepared.lines:
        shape = line.traces.shape
        decay = attenuation_per_ns(line.line.trace_positions_m())[:, None]
        size = np.where(prepared.time_ns > 0.3, CLUTTER * np.exp(-decay * prepared.time_ns), 0)
        traces = line.traces + random.normal(0, 1, shape) * size + random.normal(0, NOISE, shape)
        recorded = replace(line.line, sample_interval_ns=prepared.interval_ns)
        lines.append(replace(line, line=recorded, traces=traces.astype(np.float32)))
    return replace(prepared_area(lines, prepared.time_ns), noise=NOISE)


def drowns_at_m(attenuation_per_ns):
    """Clutter of 0.02 exp(-a t) is 3 dB over noise of 0.001 at t = ln(20 / sqrt 2) / a; time zero lies 0.3 ns before that axis."""
    return 0.5 * SPEED_M_NS * (np.log(CLUTTER / NOISE / np.sqrt(2)) / attenuation_per_ns + 0.3)


def test_ends_where_clutter_drowns_in_noise():
    prepared, speed = area_over(BAR, noise=0.0)
    depth, shallow = reliable_depths(in_clutter(prepared, lambda places: np.ones(len(places))), speed, no_base())
    # The band-pass smears the fall of this (not band-limited) clutter by a third of a period, which reads somewhat deep.
    assert 0.85 * drowns_at_m(1.0) < depth < 1.2 * drowns_at_m(1.0)
    assert shallow == ()


def test_wet_corner_is_seen_less_deep():
    prepared, speed = area_over([], size_m=(0.8, 0.6), spacing_m=0.1, noise=0.0)

    def wet(places):
        return np.where((places[:, 0] > 0.5) & (places[:, 1] > 0.3), 2.5, 0.7)

    depth, shallow = reliable_depths(in_clutter(prepared, wet), speed, no_base())
    assert depth > 0.85 * drowns_at_m(0.7)
    middles = np.array([[0.5 * (c.x_min_m + c.x_max_m), 0.5 * (c.y_min_m + c.y_max_m)] for c in shallow])
    # All cells well inside the wet corner, none well outside it; what lies about its edge may count either way.
    inside = (middles[:, 0] > 0.5) & (middles[:, 1] > 0.3)
    assert inside.sum() == 9
    assert np.all((middles[:, 0] > 0.5 - CELL_M) & (middles[:, 1] > 0.3 - CELL_M))
    corner = [cell for cell in shallow if cell.x_min_m > 0.65 and cell.y_min_m > 0.45]
    assert corner
    assert all(cell.depth_m <= 1.2 * drowns_at_m(2.5) for cell in corner)


def test_record_without_a_quiet_start_does_not_make_everything_reliable():
    # The record starts 0.6 periods before the direct wave; what prepare fills in before it is zero, not quiet.
    random = np.random.default_rng(3)
    time = np.arange(500) * 0.015 - 0.4
    lines = []
    for n in range(3):
        traces = -ricker(time) + random.normal(0, 0.02, (31, 500))
        lines.append(held_line(traces, f"x{n}", start=(0.0, 0.1 * n), end=(0.6, 0.1 * n)))
    prepared = prepare_area(scan_area(lines))
    speed = WaveSpeed("A1", SPEED_M_NS, 0.001, prepared.reference_ns - 0.3, 0.01, "known")
    # Nothing but noise of 2 % all the way down.
    assert reliable_depths(prepared, speed, no_base())[0] < 0.15


def test_never_below_a_seen_base():
    prepared, speed = area_over(BAR, base_m=0.2)
    base = find_base(prepared, speed, cell_m=0.05)
    assert base.seen
    assert reliable_depths(prepared, speed, base)[0] <= np.nanmedian(base.thickness_m)
