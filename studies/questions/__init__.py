"""The questions, in the order of the work: a folder each."""

from __future__ import annotations

from studies.questions.carve.command import carve
from studies.questions.contest.command import contest
from studies.questions.cut.command import cut
from studies.questions.draft.command import draft, examples, schema
from studies.questions.explore.command import explore
from studies.questions.export.command import export
from studies.questions.felt.command import felt
from studies.questions.gap.command import gap
from studies.questions.ledger.command import ledger
from studies.questions.meter.command import meter
from studies.questions.overlay.command import overlay
from studies.questions.posts.command import posts
from studies.questions.proof.command import proof
from studies.questions.rays.command import rays
from studies.questions.seat.command import seat
from studies.questions.section.command import section
from studies.questions.slice.command import slice_
from studies.questions.spread.command import spread
from studies.questions.tolerance.command import tolerance
from studies.questions.trim.command import trim
from studies.questions.trust.command import trust

COMMANDS = (
    examples,
    draft,
    section,
    spread,
    trim,
    contest,
    carve,
    gap,
    felt,
    tolerance,
    explore,
    seat,
    slice_,
    rays,
    posts,
    trust,
    proof,
    cut,
    meter,
    overlay,
    export,
    ledger,
    schema,
)
