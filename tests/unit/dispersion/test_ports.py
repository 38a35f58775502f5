"""The port's resonance against a column of air that is solved exactly, and by hand."""

import math

import pytest
from scipy.optimize import brentq

from dispersion.ports import Port, lowered_by_height


def test_by_hand_in_inches() -> None:
    """2 x 2 1/2 in, 4 in deep, on 23.09 litres, c 344 m/s.

    S = 5 in2 = 32.26 cm2, a = 32.04 mm; ends 0.8488 a and 0.6133 a, together 46.85 mm;
    L' = 148.45 mm; f = 344 / 2 pi sqrt(32.26e-4 / (23.09e-3 x 0.14845)) = 53.1 Hz.
    """
    port = Port(5 * 0.0254**2, 4 * 0.0254, free_inside=True)
    assert port.acoustic_depth == pytest.approx(0.14845, abs=5e-6)
    assert port.resonance(23.09e-3, 344.0) == pytest.approx(53.1, abs=0.05)


def test_a_hole_in_a_wall_has_two_ends_in_a_wall() -> None:
    """Without depth L' = 16 a / (3 pi), as for a hole in a thin wall, 2 a conductivity nearly."""
    hole = Port(math.pi * 0.03**2, 0.0, free_inside=False)
    assert hole.acoustic_depth == pytest.approx(16 * 0.03 / (3 * math.pi))


def test_a_port_at_one_end_of_a_column_lies_as_much_lower_as_is_said() -> None:
    """Exactly: k L' A / S = cot(k h) of a column of area A, closed at the other end."""
    port, area, height, speed = Port(3.2e-3, 0.1, free_inside=True), 0.0272, 0.9, 343.0
    simple = port.resonance(area * height, speed)

    def balance(f: float) -> float:
        k = 2 * math.pi * f / speed
        return k * port.acoustic_depth * area / port.area - 1 / math.tan(k * height)

    exact = brentq(balance, 1.0, 0.99 * speed / (4 * height))
    share = lowered_by_height(simple, height, speed)
    assert 1 - exact / simple == pytest.approx(share, abs=0.02)
    assert share == pytest.approx((2 * math.pi * simple * height / speed) ** 2 / 6)
