"""Walls as values: what can be said of them, and what is refused."""

import numpy as np
import pytest

from dispersion.air import Air
from dispersion.walls import RIGID_WALLS, ConstantAdmittance, WallError, Walls


def test_rigid_walls_take_nothing_and_others_do() -> None:
    assert RIGID_WALLS.rigid
    assert not Walls().rigid
    assert not Walls(layers=False, absorbers=(("cone", ConstantAdmittance(0.01)),)).rigid


def test_an_admittance_that_gives_power_is_refused() -> None:
    assert ConstantAdmittance(0.2 - 0.1j).admittance(1000.0, Air()) == 0.2 - 0.1j
    for beta in (-1e-9, complex(0.1, np.inf), np.nan):
        with pytest.raises(WallError, match="real part"):
            ConstantAdmittance(beta)


def test_two_absorbers_on_one_piece_are_refused() -> None:
    felt = ConstantAdmittance(0.3, replaces_layers=True)
    with pytest.raises(WallError, match="two absorbers on baffle"):
        Walls(absorbers=(("baffle", felt), ("cone", felt), ("baffle", felt)))
