"""How the answer to each command's question is found; loads what is heavy."""

from __future__ import annotations

import contextlib
import functools
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Literal

from dispersion.checks import problems_before
from dispersion.paths.freeform import read_free_form
from dispersion.solvers import SOLVERS
from dispersion.waves import SharedBlocks, WaveSettings
from shapes.lengths import parse_length
from studies.carve import CHECK_FINER, Carved, carve
from studies.cluster import ClusterSolver, cluster_at
from studies.contest import contest
from studies.design import Design, DesignError, Mistake
from studies.directivity import Directions, Directivity, directivity
from studies.explore import explore
from studies.formats.sofa import require_sofar
from studies.grid import Progress, Solver, problem_of
from studies.ledger import Ledger
from studies.measured.reading import read_measurements
from studies.meter import INSTRUMENT_OPTIONS, Meter, meter, with_options
from studies.overlay import Overlay, overlay
from studies.planning.question import Kind
from studies.posts import PostsStudy, posts_study
from studies.printing import open_console
from studies.progress import Watch
from studies.rays import RayStudy, ray_study
from studies.seat import SeatStudy, seat
from studies.slices import Slices, slice_study
from studies.tolerance import Tolerance, tolerance
from studies.trim import trim
from studies.trust import Trust, trust


class MethodError(ValueError):
    """A method that cannot answer the question."""


def solve(
    study: Callable[..., Any],
    design: Design,
    method: str,
    finer: float = 1.0,
    workers: int | None = None,
    per_band: int | None = None,
    ledger: Path | None = None,
    no_ledger: bool = False,
    cluster: str | None = None,
) -> Any:
    """Run a study, with a progress bar on standard error.

    Parameters
    ----------
    study : callable
        (design, solver, progress, per_band=...) -> result.
    design : Design
    method : str
        One of `dispersion.solvers.SOLVERS`.
    finer : float
        How many times finer the mesh is than by default.
    workers : int, optional
        Threads; as many as there are processors when left out.
    per_band : int, optional
        Frequencies in a third-octave band; the study's own choice when left out.
    ledger : Path, optional
        Where finished solves of the wave solver are found and kept; left out, nowhere.
    no_ledger : bool
        Nowhere, whatever `ledger` says.
    cluster : str, optional
        Address of a Dask scheduler whose workers are to solve, in place of threads here.

    Raises
    ------
    LedgerError
        If the ledger cannot be used.
    DesignError
        If no mesh can carry the design's band; found before anything is solved.
    MethodError
        If the method leaves out what the study is about, or cannot be handed to a cluster.
    ClusterError
        If the cluster cannot be used.
    """
    if method == "images" and study in (trim, contest, explore):
        raise MethodError(
            "--method images leaves the reflector out, so it cannot choose one: take waves, edges"
            " or rays"
        )
    if cluster is not None and method != "waves":
        raise MethodError(
            f"--cluster is for the wave solver; --method {method} is quick enough here"
        )
    problems = problems_before(problem_of(design, design.assembly()))
    if problems:
        raise DesignError(design.path, [Mistake("target.band", problem) for problem in problems])
    chosen = {} if per_band is None else {"per_band": per_band}
    kept_in = None if no_ledger or method != "waves" else ledger
    with contextlib.ExitStack() as open_until_done:
        store = open_until_done.enter_context(_opened(kept_in))
        solver: Solver = functools.partial(SOLVERS[method], workers=workers)
        if method == "waves":
            settings = WaveSettings().finer(finer)
            solver = functools.partial(solver, settings=settings, store=store)
            if cluster is None:
                solver = functools.partial(solver, shared=SharedBlocks())
            else:
                there = open_until_done.enter_context(cluster_at(cluster))
                on_cluster = functools.partial(solver, executor=there.executor)
                solver = ClusterSolver(on_cluster, there.at_once)
        watch = open_until_done.enter_context(Watch(open_console(sys.stderr)))
        return study(design, solver, watch, **chosen)


@contextlib.contextmanager
def _opened(path: Path | None) -> Iterator[Ledger | None]:
    """Open a ledger, and say afterwards how much was found in it."""
    if path is None:
        yield None
        return
    console = open_console(sys.stderr)
    with Ledger(path, console.print) as ledger:
        yield ledger
    if ledger.found:
        console.print(f"{ledger.found} of {ledger.found + ledger.kept} solves were in {path}.")


def find_posts(
    design: Design, also: Sequence[tuple[int, float]], per_band: int | None = None
) -> PostsStudy:
    """Work out the ripple of posts, with a progress bar on standard error."""
    chosen = {} if per_band is None else {"per_band": per_band}
    with Watch(open_console(sys.stderr)) as watch:
        return posts_study(design, also, watch, **chosen)


def find_trust(design: Design, workers: int | None = None, per_band: int | None = None) -> Trust:
    """Hold every method against the wave solver, with a progress bar on standard error."""
    chosen = {} if per_band is None else {"per_band": per_band}
    solvers = {name: functools.partial(solver, workers=workers) for name, solver in SOLVERS.items()}
    with Watch(open_console(sys.stderr)) as watch:
        return trust(design, solvers, watch, **chosen)


def find_tolerance(
    design: Design, samples: int, batch_per_band: int, method: str, **how: Any
) -> Tolerance:
    """Move every size a little, alone and all at once, with a progress bar on standard error."""
    if method == "images":
        raise MethodError("--method images leaves the reflector out: take waves, edges or rays")
    study = functools.partial(tolerance, samples=samples, batch_per_band=batch_per_band)
    return solve(study, design, method, **how)


def find_carved(design: Design, knots: int, solves: int, finer: float = 1.0, **how: Any) -> Carved:
    """Search a curve of one's own with the wave solver: its error is what the gain is held to."""
    finest = WaveSettings().finer(finer).finer(CHECK_FINER)

    def study(design: Design, solver: Solver, progress: Progress) -> Carved:
        checker = functools.partial(solver, settings=finest)
        return carve(design, solver, progress, checker=checker, knots=knots, solves=solves)

    return solve(study, design, "waves", finer, **how)


def find_overlay(
    design: Design, files: Sequence[Path], method: str, fit: bool = False, **how: Any
) -> Overlay:
    """Read measurements and lay them over the prediction, with a progress bar on standard error."""
    if method == "images":
        raise MethodError("--method images leaves the reflector out: take waves, edges or rays")
    if fit and method != "waves":
        raise MethodError(
            f"--fit looks for millimetres, and --method {method} is off by more than they do:"
            " leave --method out"
        )
    measurements = read_measurements(files, design)
    study = functools.partial(overlay, measurements=measurements, with_fit=fit)
    return solve(study, design, method, **how)


def find_meter(
    design: Design,
    question: Literal["keep", "gap"] | None,
    tell: Sequence[str],
    method: str,
    **how: Any,
) -> Meter:
    """Plan what to measure, with a progress bar on standard error."""
    if method != "waves":
        raise MethodError(
            f"--method {method}: readings near the column can only be told by the wave solver, so"
            " leave the option out"
        )
    given = {key: how.pop(key, None) for key in INSTRUMENT_OPTIONS}
    asked = {key: value for key, value in given.items() if value is not None}
    kind: Kind | None = "plate gap" if question == "gap" else question
    study = functools.partial(meter, question=kind, among=[parse_length(size) for size in tell])
    return solve(study, with_options(design, asked), method, **how)


def find_directivity(
    design: Design,
    elevation_step: float,
    azimuth_step: float,
    no_sofa: bool,
    author: str,
    licence: str,
    method: str,
    **how: Any,
) -> Directivity:
    """Solve the far field for other programs, with a progress bar on standard error."""
    if method in ("rays", "images"):
        raise MethodError(
            f"--method {method} knows {'no phase' if method == 'rays' else 'no reflector'}: take"
            " waves or edges"
        )
    if not no_sofa:
        require_sofar()
    study = functools.partial(
        directivity,
        directions=Directions(elevation_step, azimuth_step),
        as_sofa=not no_sofa,
        author=author,
        licence=licence,
    )
    return solve(study, design, method, **how)


def find_seat(design: Design, wav_length: float | None, **how: Any) -> SeatStudy:
    """Find what reaches the seats, with the wave solver: phases count."""
    length = None if wav_length is None else 1e-3 * wav_length
    return solve(functools.partial(seat, length=length), design, "waves", **how)


def find_slices(
    design: Design, at: Sequence[float], workers: int | None = None, finer: float = 1.0
) -> Slices:
    """Solve the field in a slice, with a progress bar on standard error."""
    with Watch(open_console(sys.stderr)) as watch:
        return slice_study(design, at, workers, watch, finer)


def find_rays(design: Design, stl: Path | None, stl_unit: str, **how: Any) -> RayStudy:
    """Trace rays, through a reflector from an STL file if one is named."""
    form = None if stl is None else read_free_form(stl, stl_unit)
    return ray_study(design, free_form=form, **how)
