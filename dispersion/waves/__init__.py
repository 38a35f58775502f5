"""The full wave solver: Burton-Miller boundary elements on bodies of revolution.

Conventions: SI; exp(-i omega t), outgoing exp(+ikR) / (4 pi R); normals point out of the solid
into the air; z up, r from the axis; elevation 0 deg is horizontal and +90 deg straight up.
The azimuthal order m stands for exp(i m phi).

The solver stands on its own: closed meridians, a normal velocity on some of their pieces or an
incident field, and frequencies go in; surface pressure, far field, pressure at points and the power
balance come out. Walk each solid from its lower to its upper axis point; solids must not meet::

    import numpy as np

    from dispersion.air import Air
    from dispersion.waves import PlaneWave, normal_velocity, sweep
    from shapes.meridian import Arc, Line, Meridian

    air = Air(temperature_c=20.0, humidity_percent=50.0)
    drum = Meridian(
        (
            Line((0.0, -0.05), (0.1, -0.05), "bottom"),
            Line((0.1, -0.05), (0.1, 0.0), "side"),
            Arc((0.1, 0.0), (0.0, 0.1), (0.0, 0.0), clockwise=False, part="dome"),
        )
    )
    blown = normal_velocity("blown", {"dome": 1e-3}, air)
    for solution in sweep([drum], [500.0, 1000.0, 2000.0], [blown, PlaneWave(elevation=90.0)], air):
        far = solution.far_field(np.array([0.0, 45.0, 90.0]))  # (directions, sources), Pa m
        near = solution.pressure_at(np.array([[0.0, 0.2]]))  # (points, sources), Pa
        print(solution.frequency, np.abs(far[:, 0]), np.abs(near[0, 0]), solution.power_error_db[0])
"""

from numba import config

from dispersion.code_version import keep_kernels

keep_kernels(config)  # before any kernel is defined

from .elements import Mesh, MeshSettings, build_mesh
from .flush import FlushSolution, solve_flush
from .one_thread import one_blas_thread
from .poles import find_pole
from .rings import ring_kernels
from .sharing import MOST_BLOCK_BYTES, SharedBlocks
from .solution import (
    DEFAULT_SETTINGS,
    MAX_UNKNOWNS,
    MeshError,
    WaveSettings,
    WaveSolution,
    at_each,
    balance_db,
    solve,
    sphere_rule,
    sweep,
)
from .sources import Drive, Monopole, PlaneWave, axial_motion, normal_motion, normal_velocity

__all__ = [
    "DEFAULT_SETTINGS",
    "MAX_UNKNOWNS",
    "MOST_BLOCK_BYTES",
    "Drive",
    "FlushSolution",
    "Mesh",
    "MeshError",
    "MeshSettings",
    "Monopole",
    "PlaneWave",
    "SharedBlocks",
    "WaveSettings",
    "WaveSolution",
    "at_each",
    "axial_motion",
    "balance_db",
    "build_mesh",
    "find_pole",
    "normal_motion",
    "normal_velocity",
    "one_blas_thread",
    "ring_kernels",
    "solve",
    "sphere_rule",
    "solve_flush",
    "sweep",
]
