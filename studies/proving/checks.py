"""All checks, in the order of print."""

from __future__ import annotations

from studies.proving import (
    discs,
    echoes,
    filters,
    floors,
    kirchhoff,
    laws,
    meshes,
    monopoles,
    patterns,
    pistons,
    planes,
    rings,
    rods,
    sphere_scattering,
    sphere_sources,
    standards,
    volumes,
    wedges,
)
from studies.proving.check import Check

CHECKS: tuple[Check, ...] = (
    *(*sphere_sources.CHECKS, *sphere_scattering.CHECKS, *discs.CHECKS, *pistons.CHECKS),
    *(*echoes.CHECKS, *monopoles.CHECKS, *floors.CHECKS, *laws.CHECKS),
    *(meshes.ORDER, *rings.CHECKS),
    *(*wedges.CHECKS, *kirchhoff.CHECKS, *planes.CHECKS, *rods.CHECKS),
    *(*standards.CHECKS, *patterns.CHECKS, *filters.CHECKS, *volumes.CHECKS),
)
