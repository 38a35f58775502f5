"""Results to words, numbers and tables; one function for each command.

Nothing is computed here but what telling needs. Lengths are in mm once they are in a table, as
their keys say, and are printed in mm and inches.
"""

from studies.tables.carve import carve_tables
from studies.tables.contest import contest_tables
from studies.tables.cut import cut_tables
from studies.tables.directivity import directivity_tables
from studies.tables.evidence import Evidence, evidence_of
from studies.tables.explore import explore_tables
from studies.tables.gap import gap_tables
from studies.tables.ledger import ledger_table
from studies.tables.meter import meter_tables
from studies.tables.overlay import overlay_tables
from studies.tables.posts import posts_tables
from studies.tables.proof import proof_tables
from studies.tables.rays import rays_tables
from studies.tables.seat import seat_tables
from studies.tables.section import section_tables
from studies.tables.slices import slices_tables
from studies.tables.spread import spread_tables
from studies.tables.table import Column, Fact, Findings, Subject, Table
from studies.tables.tolerance import tolerance_tables
from studies.tables.trim import trim_tables
from studies.tables.trust import trust_tables

__all__ = [
    "Column",
    "Evidence",
    "Fact",
    "Findings",
    "Subject",
    "Table",
    "carve_tables",
    "contest_tables",
    "cut_tables",
    "directivity_tables",
    "evidence_of",
    "explore_tables",
    "gap_tables",
    "ledger_table",
    "overlay_tables",
    "meter_tables",
    "posts_tables",
    "proof_tables",
    "rays_tables",
    "seat_tables",
    "section_tables",
    "slices_tables",
    "spread_tables",
    "tolerance_tables",
    "trim_tables",
    "trust_tables",
]
