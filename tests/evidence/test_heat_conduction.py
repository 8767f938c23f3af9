"""Heat followed in steps, against closed forms (Carslaw and Jaeger 1959) and scipy's odeint."""

import heat_formulas as exact
import numpy as np
import pytest
from scipy.integrate import odeint

from heritagecheck.evidence.laser.heat import conduction
from heritagecheck.evidence.laser.heat.conduction import (
    LIGHT_AT,
    MELTS_OVER_K,
    Cells,
    NotSettledError,
    conducted,
    resting,
)
from heritagecheck.evidence.laser.heat.layers import cell_edges_m

# A granite, and a paint that conducts less: numbers of these tests, no recommendation.
K, DENSITY, C = 2.8, 2650.0, 790.0
D = exact.diffusivity(K, DENSITY, C)
PAINT_K, PAINT_RHO_C = 0.4, 2.0e6
PULSE = 1e-7


def cells_of(edges, *, k=K, rho_c=DENSITY * C, falls=0.0, rises=0.0, turn=1e6, latent=0.0):
    """Cells of one set that take in all light at the very surface."""
    width = np.diff(edges)
    row = np.ones((1, width.size))
    light = 0 * row
    light[0, 0] = 1
    return Cells(
        width, 0 * width, row / k, row * falls, row * rho_c, row * rises, row * turn,
        row * latent, light,
    )  # fmt: skip


def edges_of(first, depth):
    """Edges of cells that grow from the surface."""
    return cell_edges_m([depth], first)[0]


def steady(time):
    """Light of 1e10 W/m² from the beginning to the end."""
    return np.full((len(time) - 1, len(LIGHT_AT)), 1e10)


def growing(end, count=60):
    """Times that begin close together, as the root of time does under a sudden flux."""
    return end * np.linspace(0, 1, count + 1) ** 2


def test_the_surface_under_a_steady_flux_rises_as_the_root_of_time():
    """(2q/k) sqrt(D t/pi), at three times."""
    time = growing(PULSE)
    found = conducted(cells_of(edges_of(2e-9, 5e-6)), time, steady(time))

    for step in (30, 45, 60):
        expected = exact.steady_flux_rise(1e10, time[step], K, D)
        assert found.surface_k[0, step] == pytest.approx(expected, rel=2e-3)


def test_half_the_cell_is_a_quarter_of_the_error():
    """Second order along the depth, against the closed form."""
    time = growing(PULSE, 200)
    expected = exact.steady_flux_rise(1e10, PULSE, K, D)
    errors = [
        abs(conducted(cells_of(np.linspace(0, 2e-6, count + 1)), time, steady(time))
            .surface_k[0, -1] - expected)
        for count in (25, 50, 100)
    ]  # fmt: skip

    assert errors[0] / errors[1] == pytest.approx(4, abs=0.4)
    assert errors[1] / errors[2] == pytest.approx(4, abs=0.4)


WIDE = np.linspace(0, 3e-6, 16)


def by_odeint(cells, time, flux):
    """Rise of the first cell with everything by the library, from the heat of each cell."""
    width, half = cells.width_m, cells.width_m / 2
    s0, falls = cells.resistivity_m_k_w[0], cells.resistivity_rise_per_k[0]
    rho_c, rises = cells.capacity_j_m3_k[0], cells.capacity_rise_per_k[0]
    turn, latent = cells.turn_k[0], cells.latent_j_m3[0]
    top = rho_c * turn * (1 + rises * turn / 2)
    last = rho_c * (1 + rises * turn)

    def rise(heat):
        solid = np.minimum(heat, top) / rho_c
        u = np.where(rises > 0, (np.sqrt(1 + 2 * rises * solid) - 1) / rises, solid)
        melting = np.clip(heat - top, 0, latent + last * MELTS_OVER_K)
        molten = np.maximum(heat - top - latent - last * MELTS_OVER_K, 0)
        return u + MELTS_OVER_K * melting / (latent + last * MELTS_OVER_K) + molten / last

    def change(heat, at):
        u = rise(heat)
        r = half * s0 * (1 + falls * np.minimum(u, turn))
        q = np.concatenate([[flux(at)], (u[:-1] - u[1:]) / (r[:-1] + r[1:]), [u[-1] / r[-1]]])
        return (q[:-1] - q[1:]) / width

    heat = odeint(
        change, np.zeros(width.size), time, ml=1, mu=1, rtol=1e-10, atol=1e-3, mxstep=10**5
    )
    return np.array([rise(one)[0] for one in heat])


def seen_first_cell(cells, time, light):
    """Rise of the middle of the first cell: without what lies above its middle."""
    # A light that the second cell takes in too is told from one that ends at the very surface.
    light_below = cells.taken_in.copy()
    light_below[:, 1] = 1e-300
    return conducted(cells._replace(taken_in=light_below), time, light).surface_k[0]


def test_half_the_step_is_a_sixteenth_of_the_error():
    """Fourth order in time with k and c that change, against scipy's odeint on the same cells."""
    cells = cells_of(WIDE, falls=1e-3, rises=6e-4)

    def flux(at):
        return 1e10 * np.sin(np.pi * at / PULSE) ** 2

    errors = []
    for count in (10, 20, 40):
        time = np.linspace(0, PULSE, count + 1)
        light = flux(time[:-1, None] + np.diff(time)[:, None] * LIGHT_AT)
        ours = seen_first_cell(cells, time, light)[-1]
        errors.append(abs(ours - by_odeint(cells, time, flux)[-1]))

    assert errors[0] / errors[1] == pytest.approx(16, rel=0.35)
    assert errors[1] / errors[2] == pytest.approx(16, rel=0.35)


def test_melting_takes_its_heat():
    """A surface that melts and goes on heating, against scipy's odeint on the same cells."""
    cells = cells_of(WIDE, falls=1e-3, rises=6e-4, turn=1000.0, latent=2e9)
    time = np.linspace(0, PULSE, 81)
    light = np.full((80, len(LIGHT_AT)), 1.2e11)

    ours = seen_first_cell(cells, time, light)
    theirs = by_odeint(cells, time, lambda _: 1.2e11)
    assert theirs.max() > 1000 + MELTS_OVER_K
    np.testing.assert_allclose(ours[1:], theirs[1:], rtol=2e-3)


def test_sets_side_by_side_do_not_touch_one_another():
    """Eleven conductivities in one go, which fills two rooms, and each of them alone."""
    time, one = growing(PULSE), cells_of(edges_of(4e-9, 5e-6), falls=1e-3, rises=6e-4)
    share = np.linspace(0.5, 1.5, 11)[:, None]
    many = Cells(
        one.width_m, one.contact_m2_k_w,
        *(np.repeat(of, 11, axis=0) * (share if name == "resistivity_m_k_w" else 1)
          for name, of in zip(Cells._fields[2:], one[2:], strict=True)),
    )  # fmt: skip
    found = conducted(many, time, steady(time))

    for number, factor in enumerate(share[:, 0]):
        alone = one._replace(resistivity_m_k_w=factor * one.resistivity_m_k_w)
        expected = conducted(alone, time, steady(time))
        np.testing.assert_allclose(found.surface_k[number], expected.surface_k[0], rtol=1e-12)


def test_a_front_that_takes_too_many_steps_is_refused(monkeypatch):
    """Melting in one long step is followed by many short ones; where those are too many it says."""
    cells = cells_of(WIDE, turn=1000.0, latent=2e9)
    time, light = np.array([0, PULSE]), np.full((1, len(LIGHT_AT)), 1.2e11)
    followed = conducted(cells, time, light).surface_k[0, -1]
    fine = np.linspace(0, PULSE, 81)
    expected = conducted(cells, fine, np.full((80, len(LIGHT_AT)), 1.2e11)).surface_k[0, -1]
    monkeypatch.setattr(conduction, "_MOST_TRIES", 5)

    assert followed == pytest.approx(expected, rel=0.02)
    with pytest.raises(NotSettledError, match="too many steps"):
        conducted(cells, time, light)


def test_what_was_taken_in_is_in_the_cells():
    """Heat, latent heat and melt of all cells add up to the light of a steady flux."""
    cells = cells_of(edges_of(5e-9, 2e-5), falls=1e-3, rises=6e-4, turn=1000.0, latent=2e9)
    time = growing(PULSE, 100)
    found = conducted(cells, time, 5 * steady(time))
    # Under a steady flux every depth is hottest at the end.
    u, rho_c, last = found.hottest_k[0], DENSITY * C, DENSITY * C * 1.6
    solid = np.minimum(u, 1000)
    heat = rho_c * (solid + 3e-4 * solid**2)
    heat += found.molten[0] * (2e9 + last * MELTS_OVER_K)
    heat += last * np.maximum(u - 1000 - MELTS_OVER_K, 0)

    assert found.molten[0, 0] == 1
    assert (heat * cells.width_m).sum() == pytest.approx(5e10 * PULSE, rel=1e-9)


def test_a_pulse_that_ended_leaves_what_superposition_says():
    """The flux of the pulse, less the same from its end on: ten pulses later."""
    time = np.concatenate([growing(PULSE), PULSE + 9 * PULSE * np.linspace(0, 1, 61)[1:] ** 3])
    light = np.where(time[:-1, None] + 0 * LIGHT_AT < 0.999 * PULSE, 1e10, 0.0)
    found = conducted(cells_of(edges_of(4e-9, 2e-5)), time, light)

    expected = exact.square_pulse_rise(1e10 * PULSE, PULSE, 10 * PULSE, K, D)
    assert found.surface_k[0, -1] == pytest.approx(expected, rel=1e-3)


def test_heat_left_by_a_train_is_the_sum_of_its_pulses():
    """Five pulses of 10 ns at 1 kHz, just before the sixth would come."""
    train = resting(1e-8, 5, 1e3)
    time, light = train.steps(5e-3)
    found = conducted(cells_of(edges_of(1e-8, 1e-3)), time, 2000 * light)

    expected = exact.heat_left(2000, 5, 1e3, DENSITY * C, D)
    assert found.surface_k[0, -1] == pytest.approx(expected, rel=3e-3)


def test_paint_on_granite_is_as_the_images_say():
    """At the surface of the paint and where it meets the stone, under a steady flux."""
    layer, end = 0.3e-6, 4e-7
    edges, (_, below) = cell_edges_m([layer, 2e-5], 3e-9)
    cells = cells_of(edges)
    for name, value in (("resistivity_m_k_w", 1 / PAINT_K), ("capacity_j_m3_k", PAINT_RHO_C)):
        getattr(cells, name)[0, :below] = value
    time = growing(end, 100)
    found = conducted(cells, time, steady(time), below=below)

    k, d = (PAINT_K, K), (PAINT_K / PAINT_RHO_C, D)
    top = exact.layered_rise(1e10, end, 0.0, layer, k, d)
    meets = exact.layered_rise(1e10, end, layer, layer, k, d)
    assert found.surface_k[0, -1] == pytest.approx(top, rel=1e-3)
    assert found.below_k[0, -1] == pytest.approx(meets, rel=5e-3)


def test_a_gap_below_the_layer_keeps_the_heat_in_it():
    """With a resistance in the contact the surface is hotter and the stone is cooler."""
    edges, (_, below) = cell_edges_m([0.3e-6, 2e-5], 1e-8)
    time = growing(4e-7)
    tight = cells_of(edges)
    loose = tight._replace(contact_m2_k_w=np.where(np.arange(edges.size - 1) == below - 1, 1e-6, 0))
    one, other = (conducted(each, time, steady(time), below=below) for each in (tight, loose))

    assert other.surface_k[0, -1] > 1.1 * one.surface_k[0, -1]
    assert other.below_k[0, -1] < 0.9 * one.below_k[0, -1]
