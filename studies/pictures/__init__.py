"""The pictures that go with each command's answer, by file name, the telling one first."""

from studies.pictures.carve import carve_pictures
from studies.pictures.contest import contest_pictures
from studies.pictures.directivity import directivity_pictures
from studies.pictures.gap import gap_pictures
from studies.pictures.meter import meter_pictures
from studies.pictures.overlay import overlay_pictures
from studies.pictures.paths import posts_pictures, rays_pictures, trust_pictures
from studies.pictures.picture import Picture, Pictures
from studies.pictures.proof import proof_pictures
from studies.pictures.seat import seat_pictures
from studies.pictures.section import cut_pictures, section_pictures
from studies.pictures.slices import slice_pictures
from studies.pictures.spread import spread_pictures
from studies.pictures.tolerance import tolerance_pictures
from studies.pictures.trim import trim_pictures

__all__ = [
    "Picture",
    "Pictures",
    "carve_pictures",
    "contest_pictures",
    "cut_pictures",
    "directivity_pictures",
    "gap_pictures",
    "overlay_pictures",
    "meter_pictures",
    "posts_pictures",
    "proof_pictures",
    "rays_pictures",
    "seat_pictures",
    "section_pictures",
    "slice_pictures",
    "spread_pictures",
    "tolerance_pictures",
    "trim_pictures",
    "trust_pictures",
]
