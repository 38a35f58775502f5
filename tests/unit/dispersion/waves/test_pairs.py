"""Sums round the ring for many pairs at once, in single precision, against doubles."""

import numpy as np
import pytest

from dispersion.waves import ring_kernels
from dispersion.waves.pairs import common_rule, fill_registers, new_scratch
from dispersion.waves.rings import EHI, EHR, EI, ER, GI, GR, azimuth_rules, ring_block

K = 120.0
NORMAL = np.array([0.6, 0.8])
SINGLE = 3e-6
"""Some fifty roundings of 6e-8 each."""


def summed(points: np.ndarray, source: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """G and its derivative along the source's normal, at all points with one rule."""
    scratch, count = new_scratch(), len(points)
    d2 = ((points - source) ** 2).sum(axis=1)
    scratch.lanes[:, :count] = d2, 2.0 * points[:, 0] * source[0]
    n = common_rule(azimuth_rules(7.0), scratch.lanes, count, K, None, scratch.azimuth)
    filled = fill_registers(scratch.lanes, count)
    ring_block(filled, *scratch.lanes, K, None, n, *scratch.azimuth, scratch.rings)
    rows = scratch.rings[:, :count].astype(float)
    across = NORMAL @ (source - points).T
    e, eh = rows[ER] + 1j * rows[EI], rows[EHR] + 1j * rows[EHI]
    return rows[GR] + 1j * rows[GI], across * e + NORMAL[0] * points[:, 0] * eh


@pytest.mark.parametrize("far", [0.001, 0.05, 0.3, 3.0])
def test_single_precision_serves_six_digits(far: float) -> None:
    source = np.array([0.1, 0.0])
    points = source + far * np.array([[0.0, 1.0], [0.2, 1.1], [-0.03, 0.9]])
    for at, g, d in zip(points, *summed(points, source), strict=True):
        exact = ring_kernels(at, source, K, normal=NORMAL)
        assert abs(g - exact[0]) < SINGLE * max(1.0, K * far) * abs(exact[0])
        assert abs(d - exact[1]) < SINGLE * max(1.0, K * far) * abs(exact[1])


def test_rings_far_narrower_than_their_distance_have_a_rule() -> None:
    """Both distances round the ring are one in single precision: the swing is 0, not below."""
    source, points = (
        np.array([1e-5, 0.0]),
        np.array([[1e-6 * n, 1.0 + 1e-3 * n] for n in range(1, 41)]),
    )
    g, _ = summed(points, source)
    distance = np.hypot(*(points - source).T)
    exact = 0.5 * np.exp(1j * K * distance) / distance
    assert np.abs(g / exact - 1.0).max() < SINGLE * K
