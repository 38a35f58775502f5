"""The full wave solver: Burton-Miller boundary elements on bodies of revolution.

Conventions: SI; exp(-i omega t), outgoing exp(+ikR) / (4 pi R); normals point out of the solid
into the air; z up, r from the axis; elevation 0 deg is horizontal and +90 deg straight up.
The azimuthal order m stands for exp(i m phi).

The solver stands on its own: closed meridians, what drives or meets them, and a frequency go in;
surface pressure, far field, pressure at points and the power balance come out.
"""

from numba import config

from dispersion.code_version import keep_kernels

keep_kernels(config)  # before any kernel is defined

from .elements import Mesh, MeshSettings, build_mesh
from .one_thread import one_blas_thread
from .rings import ring_kernels
from .sharing import MOST_BLOCK_BYTES, SharedBlocks
from .solution import (
    DEFAULT_SETTINGS,
    MAX_UNKNOWNS,
    MeshError,
    WaveSettings,
    WaveSolution,
    balance_db,
    solve,
    sweep,
)
from .sources import Drive, Monopole, PlaneWave, axial_motion, normal_motion, normal_velocity

__all__ = [
    "DEFAULT_SETTINGS",
    "MAX_UNKNOWNS",
    "MOST_BLOCK_BYTES",
    "Drive",
    "Mesh",
    "MeshError",
    "MeshSettings",
    "Monopole",
    "PlaneWave",
    "SharedBlocks",
    "WaveSettings",
    "WaveSolution",
    "axial_motion",
    "balance_db",
    "build_mesh",
    "normal_motion",
    "normal_velocity",
    "one_blas_thread",
    "ring_kernels",
    "solve",
    "sweep",
]
