"""The forward model of the sample survey against handbook series, limits in closed form and brute force."""

import numpy as np
import pytest
from rays import cylinder_paths, surface_path
from scipy.integrate import quad
from scipy.optimize import minimize

from inslab.sample_project import antenna, cylinders, materials
from inslab.sample_project.cast_in import CastIn
from inslab.sample_project.forward import Radar, ScanModel, to_traces

# Metal cylinder, back-scattering width over wavelength: ka, TM, TE.
# Balanis, Advanced Engineering Electromagnetics, ch. 11 (formula from memory); values derived with 40-digit arithmetic.
METAL = [
    (0.05, 0.127332971, 2.207785310e-05),
    (0.2, 0.253846520, 0.0054985275),
    (0.5, 0.375439443, 0.160285308),
    (1.0, 0.614760377, 0.544802014),
    (2.0, 1.08736105, 1.11978427),
    (3.0, 1.56908725, 1.47994464),
]
# Air-filled cylinder in a host of permittivity 6.25: Bohren and Huffman 1983, eq. 8.30 and 8.32 (from memory); values derived.
AIR = [
    (0.05, 1.71534439e-06, 5.10541972e-06),
    (0.5, 0.010761860, 0.033988419),
    (1.0, 0.068821772, 0.24476595),
    (2.0, 0.21696944, 0.69431848),
]


ORDERS = np.arange(11)


@pytest.mark.parametrize(("ka", "tm", "te"), METAL)
def test_metal_cylinder_has_the_handbook_width(ka, tm, te):
    widths = [cylinders.back_scattering_width(a) for a in cylinders.metal_coefficients(ORDERS, ka)]
    assert widths == pytest.approx([tm, te], rel=1e-7)


def dielectric(ka, relative_index):
    """TM and TE coefficients right across the cylinder."""
    found = cylinders.dielectric_coefficients(ORDERS, 1.0, 0.0, ka, ka * relative_index)
    assert not found.tm_from_te.any()
    assert not found.te_from_tm.any()
    return found.tm, found.te


@pytest.mark.parametrize(("ka", "tm", "te"), AIR)
def test_air_cylinder_has_the_handbook_width(ka, tm, te):
    widths = [cylinders.back_scattering_width(a) for a in dielectric(ka, np.sqrt(1 / 6.25))]
    assert widths == pytest.approx([tm, te], rel=1e-7)


def test_dielectric_cylinder_has_the_published_efficiencies():
    # Bohren and Huffman 1983, appendix C, sample case (from memory): m 1.55, radius 0.525 um, wavelength 0.6328 um.
    x = 2 * np.pi * 0.525 / 0.6328
    sums = [2 / x * (np.abs(a[0]) ** 2 + 2 * np.sum(np.abs(a[1:]) ** 2)) for a in dielectric(x, 1.55)]
    assert sums == pytest.approx([2.09716, 1.92782], abs=2e-5)


def test_concrete_conducts_and_attenuates_as_in_p2040():
    # Recommendation ITU-R P.2040-3 (2023), table 3, concrete: S/m at 1, 1.5, 2 and 2.6 GHz; dB/m at 1.5 GHz.
    conductivity = materials.p2040_conductivity([1.0, 1.5, 2.0, 2.6])
    assert conductivity == pytest.approx([0.0462, 0.0634425, 0.0794525, 0.0975515], rel=1e-5)
    assert -20 / np.log(10) * materials.Concrete(5.24).wavenumber(1.5).imag == pytest.approx(45.2268, rel=1e-5)


def test_concrete_answers_after_the_wave_only():
    # Kramers and Kronig (Jackson, Classical Electrodynamics, eq. 7.120, from memory), as a difference of two frequencies.
    # The conduction loss falls as 1/f, so its share x loss(x) is smooth down to zero.
    concrete = materials.Concrete(6.5, loss_factor=1.4)

    def principal_value(f):
        near = quad(lambda x: -x * concrete.complex_permittivity(x).imag / (x + f), 1e-9, 50.0, weight="cauchy", wvar=f)
        far = quad(lambda x: -x * concrete.complex_permittivity(x).imag / (x**2 - f**2), 50.0, np.inf)
        return 2 / np.pi * (near[0] + far[0])

    real = concrete.complex_permittivity(np.array([0.7, 3.0])).real
    assert real[0] - real[1] == pytest.approx(principal_value(0.7) - principal_value(3.0), abs=1e-6)


def test_times_over_a_cylinder_are_the_shortest():
    # Fermat's principle, exact minimisation in 40 digits: speed 0.12 m/ns, cover 50 mm, radius 8 mm, antennas 60 mm apart.
    x = np.array([0.0, 0.01, 0.025, 0.05, 0.1, 0.2])
    legs = [np.hypot(x - s, 0.058) for s in (-0.03, 0.03)]
    bend = np.arctan2(x + 0.03, 0.058) - np.arctan2(x - 0.03, 0.058)
    times = surface_path(legs[0], legs[1], bend, 0.008) / 0.12
    wanted = [0.971825316, 0.981244870, 1.031097718, 1.208261898, 1.811814143, 3.340300642]
    assert times == pytest.approx(wanted, abs=1e-8)


def test_path_over_an_oblique_sloping_bar_is_the_shortest():
    transmitter, receiver = np.array([[0.02, -0.03, 0.0]]), np.array([[0.02, 0.03, 0.0]])
    point, tangent = np.array([0.0, 0.0, 0.09]), np.array([0.6, 0.78, 0.1])
    tangent = tangent / np.linalg.norm(tangent)
    side = np.cross(tangent, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, tangent)

    def length(v):
        touch = point + v[0] * tangent + 0.01 * (np.cos(v[1]) * up + np.sin(v[1]) * side)
        return np.linalg.norm(touch - transmitter) + np.linalg.norm(touch - receiver)

    # Start on the side of the cylinder that faces the antennas.
    brute = minimize(
        length, [0.0, 0.0 if up[2] < 0 else np.pi], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-13}
    )
    paths = cylinder_paths(transmitter, receiver, point[None], tangent[None], 0.01)
    assert paths.path_m[0] == pytest.approx(brute.fun, abs=3e-5)


def test_direct_wave_over_metal_is_that_of_two_dipoles():
    # Image theory: over a perfect conductor the reflected field is that of a reversed dipole below the surface.
    k0 = materials.free_wavenumber(np.array([0.5, 1.5, 3.0]))
    got = antenna.direct_wave(k0, np.full(3, 1e12 - 1e12j), 0.06, height_m=0.02)
    wanted = antenna.free_field(k0, 0.06) - antenna.free_field(k0, np.hypot(0.06, 0.04))
    assert got == pytest.approx(wanted, rel=1e-4)


def test_direct_wave_over_air_is_undisturbed():
    # Balanis, Antenna Theory, eq. 4-10a (from memory), broadside; the field is counted against the dipole's moment there.
    k0 = materials.free_wavenumber(np.array([0.5, 1.5, 3.0]))
    wanted = (1 + 1 / (1j * k0 * 0.06) - 1 / (k0 * 0.06) ** 2) * np.exp(-1j * k0 * 0.06) / (4 * np.pi * 0.06)
    assert antenna.direct_wave(k0, np.ones(3), 0.06) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("frequency", [0.1, 1.5, 4.4])
@pytest.mark.parametrize(("height_m", "loss_factor"), [(0.003, 1.0), (0.005, 1.4), (0.004, 0.02)])
def test_direct_wave_is_the_integral_along_the_real_axis(frequency, height_m, loss_factor):
    # The same integral where it is defined, adaptively: k0 sin u below k0 and k0 cosh v above it take out the root at k0.
    k0 = materials.free_wavenumber(frequency)
    permittivity = materials.Concrete(6.5, loss_factor).complex_permittivity(frequency)

    def part(of_angle, wavenumber, start, end):
        def integrand(angle):
            horizontal = wavenumber(angle)
            return of_angle(angle) * antenna.reflected_kernel(horizontal, k0, permittivity, 0.06, height_m)

        return quad(integrand, start, end, complex_func=True, limit=4000, epsrel=1e-10)[0]

    end = np.arccosh(14.0 / (height_m * k0))
    root = np.arccosh(np.sqrt(permittivity.real))
    reflected = (
        part(lambda u: k0 * np.cos(u), lambda u: k0 * np.sin(u), 1e-9, np.pi / 2)
        + part(lambda v: k0 * np.sinh(v), lambda v: k0 * np.cosh(v), 0.0, root)
        + part(lambda v: k0 * np.sinh(v), lambda v: k0 * np.cosh(v), root, end)
    )
    got = antenna.direct_wave(np.array([k0]), np.array([permittivity]), 0.06, height_m)[0]
    assert got == pytest.approx(antenna.free_field(k0, 0.06) - 1j / (4 * np.pi) * reflected, rel=1e-7)


def test_time_zero_is_when_the_pulse_leaves_the_transmitter():
    radar = Radar()
    field = antenna.direct_wave(materials.free_wavenumber(radar.frequency_ghz), np.ones(len(radar.frequency_ghz)), 1.2)
    trace = to_traces((antenna.ricker_spectrum(radar.frequency_ghz, 1.5) * field)[None], radar, 1.2)[0]
    assert np.argmax(trace) * radar.interval_ns == pytest.approx(1.2 + 1.2 / 0.299792458, abs=0.5 * radar.interval_ns)


def test_field_straight_down_is_the_fresnel_transmission():
    field, _ = antenna.field_below(np.array([0.6, 0.8]), np.array([[0.0, 0.0, 1.0]]), 2.5)
    assert field[0] == pytest.approx([0.6 * 2 * 2.5 / 3.5, 0.8 * 2 * 2.5 / 3.5, 0.0])


SORTS = (cylinders.Sort(0.025, False), cylinders.Sort(0.012, True))


def echo_alone(kind, diameter_m, axis, depth_m):
    """Trace and times since time zero right over one straight object across the line."""
    radar = Radar()
    item = CastIn("one", kind, diameter_m, np.array([[0.0, -3.0, depth_m], [0.0, 3.0, depth_m]]))
    place, travel = np.zeros((1, 2)), np.array([1.0, 0.0])
    concrete = materials.Concrete(6.5)
    model = ScanModel(radar, concrete, 0.26, [item], SORTS)
    with_item = model.spectra(place, travel, axis)
    without = model.pulse * (model.direct() + model.slab_base())
    trace = to_traces(with_item - without, radar, 1.2)[0]
    return trace, np.arange(radar.sample_count) * radar.interval_ns - 1.2, concrete.velocity_m_per_ns


@pytest.mark.parametrize("depth_m", [0.06, 0.10, 0.15])
def test_bar_echo_is_negative_at_the_two_way_time(depth_m):
    trace, time, velocity = echo_alone("bar", 0.012, "across", depth_m)
    strongest = np.argmax(np.abs(trace))
    assert trace[strongest] < 0
    # The pulse stretches in lossy concrete, so its extremum comes up to a tenth of a period late.
    assert time[strongest] == pytest.approx(2 * np.hypot(depth_m, 0.03) / velocity, abs=0.07)


def test_slab_base_echo_is_positive_at_the_two_way_time():
    radar, concrete = Radar(), materials.Concrete(6.5)
    model = ScanModel(radar, concrete, 0.26, [])
    trace = to_traces((model.pulse * model.slab_base())[None], radar, 1.2)[0]
    strongest = np.argmax(np.abs(trace))
    assert trace[strongest] > 0
    expected = np.hypot(0.52, 0.06) / concrete.velocity_m_per_ns
    assert strongest * radar.interval_ns - 1.2 == pytest.approx(expected, abs=0.05)


def test_plastic_conduit_echoes_the_other_way_round_and_prefers_dipoles_across_it():
    # Radzevicius and Daniels 2000, J. Appl. Geophys. 45: low-permittivity pipes are best seen with dipoles across the pipe,
    # metal with dipoles along it. A line that crosses the pipe has its `across` dipoles along the pipe.
    strength, sign = {}, {}
    for kind, diameter in (("bar", 0.012), ("plastic_conduit", 0.025)):
        for axis in ("across", "along"):
            trace, _, _ = echo_alone(kind, diameter, axis, 0.10)
            strength[kind, axis] = np.abs(trace).max()
            # The echo of a cylinder rings; what tells metal from air is the lobe at the two-way time.
            first = np.argmax(np.abs(trace) > 0.6 * strength[kind, axis])
            sign[kind, axis] = np.sign(trace[first])
    assert strength["bar", "across"] > 1.5 * strength["bar", "along"]
    assert strength["plastic_conduit", "along"] > 1.3 * strength["plastic_conduit", "across"]
    assert sign["bar", "across"] == -1
    assert sign["plastic_conduit", "along"] == 1
