"""All checks, family by family, in the order of print."""

from __future__ import annotations

from collections.abc import Mapping

from studies.questions.proof.cases import (
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
from studies.questions.proof.cases.check import Check

FAMILIES: Mapping[str, tuple[Check, ...]] = {
    "sources on a sphere": sphere_sources.CHECKS,
    "sphere met by waves": sphere_scattering.CHECKS,
    "discs": discs.CHECKS,
    "piston in a baffle": pistons.CHECKS,
    "echoes in water": echoes.CHECKS,
    "hidden sources": monopoles.CHECKS,
    "on a floor": floors.CHECKS,
    "power, reciprocity": laws.CHECKS,
    "meshes": (meshes.ORDER,),
    "rings": rings.CHECKS,
    "edge waves": wedges.CHECKS,
    "Kirchhoff": kirchhoff.CHECKS,
    "images": planes.CHECKS,
    "posts": rods.CHECKS,
    "air and bands": standards.CHECKS,
    "patterns": patterns.CHECKS,
    "crossovers": filters.CHECKS,
    "solids": volumes.CHECKS,
}
