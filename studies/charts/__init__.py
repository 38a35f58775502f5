"""Results to pictures: every function takes results or plain arrays and returns a Figure.

Nothing is computed here but what drawing needs. matplotlib is imported here and nowhere else in
`studies`, so import this package only where a picture is wanted. Levels are in dB re the
driver's own on-axis curve unless the axis says otherwise.
"""

from studies.charts.choosing import choosing_figure
from studies.charts.contest import Contender, contest_figure
from studies.charts.coverage import coverage_map_figure, polar_figure
from studies.charts.curves import Trace, curves_figure, index_figure
from studies.charts.fitting import Sized, fitted_sizes_figure, left_by_fit_figure
from studies.charts.meter import Candidate as MeterCandidate
from studies.charts.meter import readings_figure, telling_figure
from studies.charts.overlay import (
    Laid,
    Moved,
    differences_figure,
    laid_over_figure,
    sizes_off_figure,
)
from studies.charts.paths import (
    AroundTrace,
    around_figure,
    azimuth_figure,
    rays_figure,
    round_band_figure,
    trust_figure,
)
from studies.charts.places import Mark, places_figure
from studies.charts.proof import Climb, error_by_frequency_figure, error_by_mesh_figure
from studies.charts.section import section_figure
from studies.charts.shaving import shave_figure
from studies.charts.slices import slice_animation, slice_figure, slice_files
from studies.charts.style import in_both_formats
from studies.charts.sweeps import Ladder, ladder_figure, sweep_map_figure
from studies.charts.tolerance import Worry, batch_figure, worries_figure

__all__ = [
    "AroundTrace",
    "Climb",
    "Contender",
    "Ladder",
    "Laid",
    "Moved",
    "Mark",
    "MeterCandidate",
    "Trace",
    "Sized",
    "Worry",
    "around_figure",
    "azimuth_figure",
    "batch_figure",
    "choosing_figure",
    "contest_figure",
    "coverage_map_figure",
    "curves_figure",
    "differences_figure",
    "error_by_frequency_figure",
    "error_by_mesh_figure",
    "fitted_sizes_figure",
    "in_both_formats",
    "index_figure",
    "ladder_figure",
    "laid_over_figure",
    "places_figure",
    "left_by_fit_figure",
    "polar_figure",
    "rays_figure",
    "readings_figure",
    "round_band_figure",
    "section_figure",
    "shave_figure",
    "sizes_off_figure",
    "slice_animation",
    "slice_figure",
    "slice_files",
    "sweep_map_figure",
    "telling_figure",
    "trust_figure",
    "worries_figure",
]
