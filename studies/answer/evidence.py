"""What stands behind a result: method, mesh, power balance, and what the model leaves out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dispersion.air import Air
from dispersion.bands import band_label, third_octave_centres
from dispersion.checks import POWER_WARNING_DB, equal_area_range, remarks_after
from dispersion.fields import LEAST_DEPTH
from dispersion.response import Response
from dispersion.ripple import Balance
from shapes.assembly import Assembly
from shapes.columns import computed_outline
from shapes.lengths import in_own
from studies.answer.ways import ways_remarks
from studies.design.walls_table import walls_in_words
from studies.solving.candidates import Row
from studies.solving.lines import READ_WITHIN
from studies.solving.ranking import RANKING_ERROR_DB

HARD_WALLS = "walls: hard in this method, whatever the file says"
THE_DRIVER = (
    "the driver itself, all ways together, flush in an endless wall, straight ahead, at the same"
    " distance"
)
A_PISTON = (
    "what this method takes for the driver, a flat piston or a point, flush in an endless wall,"
    " straight ahead, at the same distance"
)
"""What 0 dB is, by the wave solver and by quick methods."""


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """How a result was computed, and how far it can be trusted.

    Attributes
    ----------
    method : str
        Name of the solver.
    solved : int
        Number of designs that were solved.
    lowest_hz, highest_hz : float
        Ends of the frequencies that were solved.
    unknowns_lowest, unknowns_highest : int
        Size of the largest system at either end.
    worst_power_error_db : float
        Largest difference between the power that the driver gives off and the power far away,
        over all designs and frequencies.
    settings : mapping
        Numbers of the mesh and the quadrature.
    remarks : tuple of str
        Driver realism, what is left out, and what went wrong.
    account : str
        How a method without a power balance vouches for itself.
    reference : str
        What 0 dB is.
    """

    method: str
    solved: int
    lowest_hz: float
    highest_hz: float
    unknowns_lowest: int
    unknowns_highest: int
    worst_power_error_db: float
    settings: Mapping[str, float]
    remarks: tuple[str, ...]
    account: str = ""
    reference: str = THE_DRIVER

    def sentences(self) -> tuple[str, ...]:
        """Write method, mesh, power balance, remarks and the 0 dB reference in sentences."""
        designs = {0: "no design", 1: "1 design"}.get(self.solved, f"{self.solved} designs")
        return (
            *self._vouched_for(designs),
            *self.remarks,
            f"0 dB is {self.reference}",
        )

    def _vouched_for(self, designs: str) -> tuple[str, ...]:
        if self.account:
            return (f"method {self.method}, {designs}: {self.account}",)
        one = self.lowest_hz == self.highest_hz
        other = "" if one else f", {self.unknowns_highest} at {self.highest_hz:.0f} Hz"
        return (
            f"method {self.method}, {designs}: {self.unknowns_lowest} unknowns at"
            f" {self.lowest_hz:.0f} Hz{other}",
            "power given off by the driver and power found far away and in the walls agree within"
            f" {max(self.worst_power_error_db, 0.001):.3f} dB everywhere",
        )


def outline_sentences(assembly: Assembly, air: Air) -> tuple[str, ...]:
    """Say which outline is computed, what was made round and up to where that holds."""
    outline = computed_outline(assembly.column, assembly.plate)
    if outline is None:
        return ()
    said = (outline, *equal_area_range(assembly, air))
    return tuple(f"{words[0].upper()}{words[1:]}." for words in said)


def evidence_of(rows: Sequence[Row], best: Row) -> Evidence:
    """Gather the evidence of all solved rows; `best` is the one the answer rests on."""
    return evidence_of_responses([row.response for row in rows if row.solved], best.response)


def evidence_of_responses(responses: Sequence[Response], best: Response) -> Evidence:
    """Gather the evidence of responses; the answer rests on the `best`."""
    different = list({id(response): response for response in responses}.values())
    worst = max(different, key=lambda response: response.worst_power_error_db)
    lowest, highest = zip(*(_sizes(response) for response in different), strict=True)
    frequencies = best.solved_frequencies
    return Evidence(
        method=best.method,
        solved=len(different),
        lowest_hz=float(frequencies[0]),
        highest_hz=float(frequencies[-1]),
        unknowns_lowest=max(lowest),
        unknowns_highest=max(highest),
        worst_power_error_db=worst.worst_power_error_db,
        settings=best.settings,
        remarks=(
            *_chosen_by_need(best),
            *_read(different),
            *_cut_short(different),
            *mended_in_words([one.finer for one in different if one.finer is not None]),
            *_grouped_remarks(best, worst),
        ),
        account=best.account,
        reference=THE_DRIVER if best.method == "waves" else A_PISTON,
    )


def _read(different: Sequence[Response]) -> tuple[str, ...]:
    """How much of the comparison was read between designs that differ in one size."""
    chosen = [response.settling for response in different if response.settling is not None]
    read = sum(settling.read for settling in chosen)
    if not read:
        return ()
    differ_db = 20.0 * math.log10(1.0 + READ_WITHIN)
    together = sum(len(settling.frequencies) for settling in chosen)
    return (
        f"of the {together} frequencies of all these designs together {read} were read between"
        f" designs that differ in one size only, where fits differ by {differ_db:.2f} dB at most",
    )


def _cut_short(different: Sequence[Response]) -> tuple[str, ...]:
    """Which of the designs were only compared, with less of the column."""
    depths = [one.settings.get("column_wavelengths") for one in different]
    wavelengths = [depth for depth in depths if depth is not None]
    if not wavelengths:
        return ()
    return (
        f"{len(wavelengths)} of these designs were compared with a column that ends"
        f" {100 * LEAST_DEPTH:g} cm and {wavelengths[0]:g} wavelengths below its face, on a coarser"
        f" mesh: that moved scores of the examples by {RANKING_ERROR_DB:g} dB at most",
    )


def balance_in_words(*balances: Balance) -> str:
    """Say within how much power balances, and how many solves were mended for that, in a phrase."""
    worst = max((one.power_error_db for one in balances), default=0.0)
    said = f"power within {max(worst, 0.001):.3f} dB"
    again = np.concatenate([one.finer[one.finer > 1.0] for one in balances] or [np.empty(0)])
    if not again.size:
        return said
    return f"{said}, {again.size} solved again on a mesh up to {again.max():.3g} times as fine"


def mended_in_words(meshes: Sequence[np.ndarray]) -> tuple[str, ...]:
    """How many solves were out of balance at first, and on how much finer a mesh they are not.

    `meshes` holds for each design how many times finer its meshes were than asked for.
    """
    again = np.array([factor for one in meshes for factor in one if factor > 1.0])
    if not again.size:
        return ()
    many = "1 solve was" if again.size == 1 else f"{again.size} solves were"
    return (
        f"{many} out of balance by more than {POWER_WARNING_DB:g} dB and solved again on a mesh up"
        f" to {again.max():g} times as fine: that is what counts",
    )


def _sizes(response: Response) -> tuple[int, int]:
    return int(response.unknowns[0]), int(response.unknowns[-1])


def _grouped_remarks(best: Response, worst: Response) -> tuple[str, ...]:
    """Remarks of all designs differ in their power balance only: two speak for all, each once."""
    waves = best.method == "waves"
    walls = walls_in_words(best.problem.walls) if waves else (HARD_WALLS,)
    balance, ways = _out_of_balance(best, worst), ways_remarks(best.problem)
    remarks = (*balance, *remarks_after(worst), *remarks_after(best), *ways, *walls)
    return tuple(dict.fromkeys(remarks))


def _out_of_balance(best: Response, worst: Response) -> tuple[str, ...]:
    """Name the candidate whose power does not balance, what that means, what mends it."""
    if worst.method != "waves" or worst.worst_power_error_db <= POWER_WARNING_DB:
        return ()
    assembly = worst.problem.assembly
    hangs = "nothing" if assembly.reflector is None else assembly.reflector.label
    felt = f", felt {' and '.join(rings)}" if (rings := _felt_on(assembly)) else ""
    which = f"the candidate with {hangs} below a plate gap of {in_own(assembly.plate_gap)}{felt}"
    rests = "the answer rests on it"
    if worst is not best:
        rests = f"the answer rests on another, within {best.worst_power_error_db:.3f} dB"
    return (
        f"power is out of balance by {worst.worst_power_error_db:.2f} dB in {which}; {rests}:"
        " --finer 2 solves all with a finer mesh",
    )


def _felt_on(assembly: Assembly) -> list[str]:
    rings = (("on the baffle", assembly.baffle_felt), ("under the plate", assembly.plate_felt))
    return [
        f"{in_own(ring.thickness)} thick and {in_own(ring.width)} wide {board}"
        for board, ring in rings
        if ring is not None
    ]


def _chosen_by_need(best: Response) -> tuple[str, ...]:
    """How the frequencies were chosen that the answer rests on, and which bands did not settle."""
    settling = best.settling
    if settling is None:
        return ()
    chosen = (
        f"{len(settling.frequencies)} frequencies, chosen by need: third octaves have settled"
        f" within {settling.within_db:g} dB"
    )
    if len(settling.foretold):
        rms = 100 * math.sqrt(float(np.mean(settling.foretold**2)))
        chosen += (
            f"; the pressure at {len(settling.foretold)} of them, one in each third octave, had"
            f" been foretold within {rms:.1f} per cent (rms) of its rms value there,"
            f" {100 * settling.foretold.max():.1f} at worst"
        )
    if settling.settled.all():
        return (chosen,)
    centres = third_octave_centres(best.problem.frequencies[0], best.problem.frequencies[-1])
    loose = [
        f"{band_label(centre)} ({doubt:.2f} dB)"
        for centre, doubt, settled in zip(centres, settling.doubt_db, settling.settled, strict=True)
        if not settled
    ]
    return (f"{chosen}, but for {', '.join(loose)}",)
