"""Near field of the sample's forward model: a cylinder in free space by quadrature, reciprocity, energy, rays far away."""

import numpy as np
import pytest
from rays import ray_echo
from scipy.integrate import quad
from scipy.special import hankel2

from inslab.sample_project.antenna import HEIGHT_M, dipole_axis_vectors
from inslab.sample_project.cast_in import CastIn
from inslab.sample_project.cylinders import Sort, dielectric_coefficients, metal_coefficients
from inslab.sample_project.forward import Radar, ScanModel, beside_end
from inslab.sample_project.materials import Concrete
from inslab.sample_project.near_field import OneFrequency, Pair

STEP_M = 0.005
BAR, CONDUIT = Sort(0.012, True), Sort(0.025, False)


def pair_at(degrees, half_steps, shift_m):
    return Pair(np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), shift_m, half_steps)


@pytest.mark.parametrize(("k", "degrees"), [(9.0 - 0.4j, 35), (31.0 - 0.5j, 0), (31.0 - 0.5j, 90), (75.0 - 2.0j, 35)])
def test_without_a_surface_it_is_the_series_of_a_cylinder(k, degrees):
    # Dipole beside a conducting cylinder, Balanis, Advanced Engineering Electromagnetics, ch. 11, addition theorem and
    # gradients of cylinder waves as in Abramowitz and Stegun 9.1.27 and 9.1.79 (from memory), the integral by quadrature.
    pair, depth, orders = pair_at(degrees, 3, 0.021), 0.05, np.arange(-9, 10)
    got = OneFrequency(k, k, depth, STEP_M, 40, BAR.radius_m).echoes(pair, range(4, 5), (BAR,))[0, 0]
    # Places of the dipoles seen from the axis: u across it, z down.
    (radius_t, angle_t), (radius_r, angle_r) = (
        (np.hypot(u, depth + HEIGHT_M), np.arctan2(-depth - HEIGHT_M, u)) for u in (-7 * STEP_M, -1 * STEP_M)
    )

    def wave(n, kappa, radius, angle):
        return hankel2(n, kappa * radius) * np.exp(1j * n * angle)

    def slopes(n, kappa, radius, angle):
        up, down = wave(n + 1, kappa, radius, angle), wave(n - 1, kappa, radius, angle)
        return kappa / 2 * (down - up), 1j * kappa / 2 * (down + up)

    def integrand(q):
        kappa = -1j * np.sqrt(q**2 - k**2)
        tm, te = metal_coefficients(orders, kappa * BAR.radius_m)
        source = wave(-orders, kappa, radius_t, angle_t)
        # H_-n = (-1)^n H_n: the series runs over H_n(source) exp(-jn angle).
        turn = (-1.0) ** orders
        source_u, source_z = (turn * slope for slope in slopes(-orders, kappa, radius_t, angle_t))
        # Field along the axis from a dipole along it, and from one across it; the source's slopes are those of G reversed.
        electric = kappa**2 / k**2 * pair.along * turn * source + 1j * q / k**2 * pair.across * source_u
        magnetic = 1j * pair.across * source_z
        at_receiver = wave(orders, kappa, radius_r, angle_r)
        receiver_u, receiver_z = slopes(orders, kappa, radius_r, angle_r)
        out_tm, out_te = -tm * electric * -0.25j, -te * magnetic * -0.25j
        along = np.sum(out_tm * at_receiver)
        across = -1j / kappa**2 * np.sum(q * out_tm * receiver_u + out_te * receiver_z)
        return (pair.along * along + pair.across * across) * np.exp(-1j * q * pair.shift_m) / (2 * np.pi)

    wanted = quad(lambda q: integrand(q) + integrand(-q), 0.0, 700.0, complex_func=True, limit=400, epsrel=1e-5)[0]
    assert got == pytest.approx(wanted, rel=2e-3)


@pytest.mark.parametrize("sort", [BAR, CONDUIT])
def test_transmitter_and_receiver_can_change_places(sort):
    air, concrete = 31.4, 80.0 - 4.7j
    fields = OneFrequency(air, concrete, 0.05, STEP_M, 60, sort.radius_m)
    offsets = range(-8, 24, 4)
    there = fields.echoes(pair_at(35.0, 5, 0.02), offsets, (sort,))[0]
    back = fields.echoes(pair_at(35.0, -5, -0.02), offsets, (sort,))[0]
    np.testing.assert_allclose(back, there, rtol=1e-4)
    # With the angle on the other side it is another echo, unless all is mirrored.
    mirrored = fields.echoes(pair_at(-35.0, -5, 0.02), range(8, -24, -4), (sort,))[0]
    np.testing.assert_allclose(mirrored, there, rtol=1e-4)
    assert (
        np.abs(fields.echoes(pair_at(-35.0, 5, 0.02), offsets, (sort,))[0] - there).max() > 0.05 * np.abs(there).max()
    )


@pytest.mark.parametrize("along", [0.0, 12.0, 50.0])
def test_a_lossless_cylinder_keeps_the_energy(along):
    # Optical theorem, one order at a time (Bohren and Huffman 1983, sec. 8.4, from memory): what goes out besides, in both
    # kinds, is what the forward wave lacks.
    n, k = np.arange(5.0), 80.0
    a = dielectric_coefficients(n, 0.0125, along, k, 2.0 * k)
    np.testing.assert_allclose(a.tm.real, np.abs(a.tm) ** 2 + np.abs(a.te_from_tm) ** 2 / k**2, rtol=1e-9)
    np.testing.assert_allclose(a.te.real, np.abs(a.te) ** 2 + np.abs(a.tm_from_te) ** 2 * k**2, rtol=1e-9)
    assert (np.abs(a.te_from_tm[1:3]) > 1e-3).all() == (along > 0)


def test_a_very_dense_filling_is_metal():
    n, k, along = np.arange(4.0), 80.0, 30.0
    dense = dielectric_coefficients(n, 0.006, along, k, 3e4 * (1 - 1j))
    tm, te = metal_coefficients(n, np.sqrt(k**2 - along**2) * 0.006)
    np.testing.assert_allclose(dense.tm, tm, rtol=0.02, atol=0.003)
    np.testing.assert_allclose(dense.te, te, rtol=0.02, atol=0.003)


@pytest.mark.parametrize("sort", [BAR, CONDUIT])
@pytest.mark.parametrize("axis", ["across", "along"])
def test_far_away_it_is_the_ray(sort, axis):
    radar, concrete = Radar(), Concrete(6.5, loss_factor=0.1)
    kind = "bar" if sort.is_metal else "plastic_conduit"
    dipole, _ = dipole_axis_vectors((1.0, 0.0), axis)
    off = []
    for depth in (0.04, 0.15, 0.60):
        item = CastIn("one", kind, sort.diameter_m, np.array([[0, -3, depth], [0, 3, depth]]))
        model = ScanModel(radar, concrete, 0.26, [item])
        f = np.argmin(np.abs(radar.frequency_ghz - 1.5))
        along = abs(dipole[1])
        pair = Pair(along, 1 - along, 0.06 * (1 - along), -round(along * 0.03 / STEP_M))
        fields = OneFrequency(model.air[f], model.wavenumber[f], depth + sort.radius_m, STEP_M, 40, sort.radius_m)
        full = fields.echoes(pair, range(1), (sort,))[0, 0]
        off.append(abs(full / ray_echo(model, item, np.zeros((1, 2)), (1.0, 0.0), axis)[0, f] - 1))
    assert off[2] < 0.06 < 0.15 < off[0]
    assert off[2] < off[1] < off[0]


def test_table_gives_the_echo_itself():
    radar, concrete = Radar(), Concrete(6.5)
    item = CastIn("one", "bar", 0.012, np.array([[-1.2, -3.0, 0.06], [1.2, 3.0, 0.06]]))
    # The sorts of test_physics, so that both share one set of tables.
    model = ScanModel(radar, concrete, 0.26, [item], (CONDUIT, BAR))
    normal = np.array([3.0, -1.2]) / np.hypot(3.0, 1.2)
    cosine = abs(np.array([1.2, 3.0]) @ [0.0, 1.0]) / np.hypot(3.0, 1.2)
    # Fine steps such that half the distance of the dipoles across the bar is a whole number of them.
    step = 0.03 * cosine / 30
    steps = range(0, 120, 13)
    place = np.array(steps) * step
    got = model.spectra(np.outer(place, normal), (1.0, 0.0), "across") - model.pulse * (
        model.direct() + model.slab_base()
    )
    sine = np.sqrt(1 - cosine**2)
    for f in (9, 22, 40):
        fields = OneFrequency(model.air[f], model.wavenumber[f], 0.066, step, 150, 0.006)
        wanted = fields.echoes(Pair(cosine, sine, 0.06 * sine, -30), steps, (BAR,))[0]
        assert np.abs(got[:, f] / model.pulse[f] - wanted).max() < 0.01 * np.abs(wanted).max()


def test_beside_its_end_an_item_answers_half():
    # Fresnel's integral at its middle, its ends and at the first maximum of the shadow's edge: 1.37 in intensity at 1.217
    # (Born and Wolf, Principles of Optics, sec. 8.7, from memory).
    wavenumber, distance = np.array([50.0]), 0.1
    unit = np.sqrt(np.pi * distance / (2 * wavenumber[0]))
    inside = np.array([0.0, 1.217 * unit, 2.0, -2.0])
    shares = np.abs(beside_end(inside, np.full(4, distance), wavenumber)[:, 0]) ** 2
    assert shares == pytest.approx([0.25, 1.37, 1.0, 0.0], abs=0.02)
