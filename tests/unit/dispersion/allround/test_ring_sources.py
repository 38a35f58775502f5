"""Line sources against adaptive quadrature, and where their field has a kink."""

import numpy as np
import pytest
from scipy.integrate import quad

from dispersion.allround.lines import Lines, line_fields, ring_column
from dispersion.waves import ring_kernels

LINES = Lines(150.0, 0.02, np.array([0.035, 0.042]), 4, np.array([0, 3, 7]))


def integrated(place: tuple[float, float], ring: int, m: int, n: int) -> complex:
    """U of one line by adaptive quadrature over `ring_kernels`."""
    radius = LINES.radii[ring]

    def part(z: float, take: str) -> float:
        g, _ = ring_kernels(place, (radius, z), LINES.k, m)
        return float(getattr(g, take)) * np.cos(n * np.pi * z / LINES.height)

    near = [min(max(place[1], 0.0), LINES.height)]
    found = [
        quad(part, 0.0, LINES.height, args=(take,), points=near, limit=200, epsabs=1e-10)[0]
        for take in ("real", "imag")
    ]
    return complex(*found)


@pytest.mark.parametrize(
    "place", [(0.05, 0.0), (0.0352, 0.0), (0.0418, 0.02), (0.01, 0.013), (0.06, -0.1)]
)
def test_fields_and_slopes_of_lines(place: tuple[float, float]) -> None:
    """Slopes against differences across 1e-6 m; 5 digits asked for."""
    normal = (0.6, 0.8)
    fields = line_fields(LINES, np.array([place]), np.array([normal]), 5.0)
    for ring, at, n in ((0, 0, 0), (1, 1, 2), (0, 2, 3)):
        m = int(LINES.orders[at])
        exact = integrated(place, ring, m, n)
        most = max(abs(exact), np.abs(fields.value[0, ring, at]).max())
        assert abs(fields.value[0, ring, at, n] - exact) < 2e-5 * most
    step = 1e-6 * np.array(normal)
    ends = line_fields(LINES, np.array([place + step, place - step]), np.zeros((2, 2)), 9.0).value
    slope = (ends[0] - ends[1]) / 2e-6
    assert np.abs(fields.slope[0] - slope).max() < 1e-3 * np.abs(slope).max()


@pytest.mark.parametrize("radii", [(0.035, 0.035), (0.035, 0.042)])
def test_what_lines_hear_of_each_other(radii: tuple[float, float]) -> None:
    """int_0^H G_m(zeta) cos(5 zeta / H) d zeta, singular at 0 for a ring with itself."""
    zeta, weight, kernel = ring_column(LINES, radii, 9.0)
    assert weight.sum() == pytest.approx(LINES.height, rel=1e-12)
    for at, m in enumerate(LINES.orders):

        def part(x: float, take: str, m: int = int(m)) -> float:
            g, _ = ring_kernels((radii[0], x), (radii[1], 0.0), LINES.k, m)
            return float(getattr(g, take)) * np.cos(5.0 * x / LINES.height)

        exact = complex(
            *(
                quad(part, 0.0, LINES.height, args=(take,), limit=400)[0]
                for take in ("real", "imag")
            )
        )
        found = np.sum(kernel[at] * weight * np.cos(5.0 * zeta / LINES.height))
        assert found == pytest.approx(exact, rel=2e-5)
