"""What goes to the shed: what `roundcast cut` finds, draws and writes."""

from __future__ import annotations

from shapes.reflector import Reflector
from shapes.scenes import assembly_scene, glb_bytes
from shapes.solids import reflector_solid, stl_bytes, threemf_bytes
from shapes.templates import dxf_bytes, female_template, full_section, male_template, svg_bytes
from studies.answer.charts.paper.page import Leaf, imprint_of, pdf_bytes
from studies.answer.charts.paper.sizes import Paper, paper_named
from studies.answer.next_steps import METER, then
from studies.answer.question import Question
from studies.answer.release import mark_of
from studies.design import Design
from studies.questions.cut.command import CutOptions
from studies.questions.cut.drill_plan import drill_sheets
from studies.questions.cut.figures import cut_pictures
from studies.questions.cut.gauges import gauge_sheet
from studies.questions.cut.lists import lists_html
from studies.questions.cut.study import Cutting, cutting
from studies.questions.cut.tables import cut_tables
from studies.questions.cut.template_sheets import template_sheets
from studies.questions.cut.trim_card import trim_card


def find(design: Design, options: CutOptions) -> Cutting:
    """Work out all that the sheets state."""
    return cutting(design, options.papers)


def cutting_files(found: Cutting) -> dict[str, bytes]:
    """Make every file for the shed.

    Parameters
    ----------
    found : Cutting

    Returns
    -------
    dict of str to bytes
        ``assembly.glb``; for every paper ``cut-a4.pdf`` and so on, and for all of them
        ``cut-lists.html``; with a reflector ``reflector.dxf``, ``.svg``, ``.stl``, ``.3mf`` and
        ``templates.dxf``, ``templates.svg``. The same design gives the same bytes.

    Raises
    ------
    ShedError
        If a paper is not known, or too small for something at true size.
    """
    sizes = {name.lower(): paper_named(name) for name in found.papers}
    files = {f"cut-{name}.pdf": sheets_pdf(found, paper) for name, paper in sizes.items()}
    if sizes:
        files["cut-lists.html"] = lists_html(found)
    if found.assembly.reflector is not None:
        files |= _reflector_files(found, found.assembly.reflector)
    files["assembly.glb"] = glb_bytes(assembly_scene(found.assembly), mark_of(found.design))
    return files


def sheets(found: Cutting, paper: Paper) -> list[Leaf]:
    """Return all drawings for one size of paper, in the order of the work."""
    return [
        *trim_card(found, paper),
        *template_sheets(found, paper),
        *drill_sheets(found, paper),
        *gauge_sheet(found, paper),
    ]


def sheets_pdf(found: Cutting, paper: Paper) -> bytes:
    """Print all drawings for one size of paper."""
    return pdf_bytes(sheets(found, paper), imprint_of(found.design))


def _reflector_files(found: Cutting, reflector: Reflector) -> dict[str, bytes]:
    making = found.making
    solid = reflector_solid(reflector, wall=making.reflector_wall, spigot=making.spigot)
    section = [full_section(reflector)]
    templates = [male_template(reflector), female_template(reflector)]
    mark = mark_of(found.design)
    return {
        "reflector.dxf": dxf_bytes(section, mark),
        "reflector.svg": svg_bytes(section, mark),
        "templates.dxf": dxf_bytes(templates, mark),
        "templates.svg": svg_bytes(templates, mark),
        "reflector.stl": stl_bytes(solid, mark),
        "reflector.3mf": threemf_bytes(solid, mark),
    }


QUESTION = Question(
    name="cut",
    find=find,
    tell=cut_tables,
    draw=cut_pictures,
    make=cutting_files,
    next_steps=then(METER),
)
