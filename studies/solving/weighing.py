"""What posts and [askew] add to the work of a question, where the file asks for them."""

from __future__ import annotations

from dispersion.allround import STRAIGHT, Displacement
from studies.design import Design
from studies.solving import leaning
from studies.solving.all_round import MOST_ASKEW
from studies.solving.budget import Portion, Work
from studies.solving.grid import COARSE_PER_BAND

LEADERS = 8
"""Candidates that may still be the best once their posts are solved, about."""


def posts_work(design: Design, designs: int = 1, per_band: int = COARSE_PER_BAND) -> Work:
    """Solves with posts; none where the file does not ask for them."""
    if design.tables.target.posts != "solved" or design.tables.posts is None:
        return ()
    return (Portion(designs, per_band, counts=(design.tables.posts.count,)),)


def leaders_work(design: Design) -> Work:
    """Candidates that lead, solved again as they are, see `studies.solving.all_round`."""
    return (*posts_work(design, LEADERS), *askew_work(design, MOST_ASKEW, COARSE_PER_BAND))


def askew_work(
    design: Design, designs: int = 1, per_band: int | None = None, *, compared: bool = True
) -> Work:
    """Solves of how it hangs; none where [askew] says nothing.

    Parameters
    ----------
    design : Design
    designs : int
    per_band : int, optional
        Frequencies in a third octave; `leaning.PER_BAND` if left out.
    compared : bool
        Whether each is solved hung straight as well.
    """
    hangs = design.tables.askew
    if hangs is None:
        return ()
    hung = Displacement(shift=hangs.shift, tilt=hangs.tilt)
    work = hung_work(design, hung, designs, per_band)
    return work + hung_work(design, STRAIGHT, designs, per_band) * (compared and bool(work))


def hung_work(
    design: Design, hung: Displacement, designs: int = 1, per_band: int | None = None
) -> Work:
    """Solves of what hangs so; none where nothing hangs, or the band ends too low for that."""
    assembly = design.assembly()
    if assembly.upper is None or not leaning.bands_solved(design.target.band).size:
        return ()
    farthest = hung.farthest(assembly.hung_body, assembly.plate_gap)
    return (Portion(designs, per_band or leaning.PER_BAND, displaced=farthest),)
