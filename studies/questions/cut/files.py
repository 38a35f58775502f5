"""All files for the shed: sheets of paper, outlines, solids; bytes by name."""

from __future__ import annotations

from shapes.reflector import Reflector
from shapes.scenes import assembly_scene, glb_bytes
from shapes.solids import reflector_solid, stl_bytes, threemf_bytes
from shapes.templates import dxf_bytes, female_template, full_section, male_template, svg_bytes
from studies.answer.paper.page import Leaf, imprint_of, pdf_bytes
from studies.answer.paper.paper import Paper, paper_named
from studies.answer.release import mark_of
from studies.questions.cut.drill_plan import drill_sheets
from studies.questions.cut.gauges import gauge_sheet
from studies.questions.cut.lists import list_sheets
from studies.questions.cut.study import Cutting
from studies.questions.cut.template_sheets import template_sheets
from studies.questions.cut.trim_card import trim_card


def cutting_files(cutting: Cutting) -> dict[str, bytes]:
    """Make every file for the shed.

    Parameters
    ----------
    cutting : Cutting

    Returns
    -------
    dict of str to bytes
        ``cut-a4.pdf`` and so on, ``assembly.glb``; with a reflector ``reflector.dxf``, ``.svg``,
        ``.stl``, ``.3mf`` and ``templates.dxf``, ``templates.svg``. The same design gives the
        same bytes.

    Raises
    ------
    ShedError
        If a paper is not known, or too small for something at true size.
    """
    sizes = {name.lower(): paper_named(name) for name in cutting.papers}
    files = {f"cut-{name}.pdf": sheets_pdf(cutting, paper) for name, paper in sizes.items()}
    if cutting.assembly.reflector is not None:
        files |= _reflector_files(cutting, cutting.assembly.reflector)
    files["assembly.glb"] = glb_bytes(assembly_scene(cutting.assembly), mark_of(cutting.design))
    return files


def sheets(cutting: Cutting, paper: Paper) -> list[Leaf]:
    """Return all sheets for one size of paper, in the order of the work."""
    return [
        *trim_card(cutting, paper),
        *template_sheets(cutting, paper),
        *drill_sheets(cutting, paper),
        *gauge_sheet(cutting, paper),
        *list_sheets(cutting, paper),
    ]


def sheets_pdf(cutting: Cutting, paper: Paper) -> bytes:
    """Print all sheets for one size of paper."""
    return pdf_bytes(sheets(cutting, paper), imprint_of(cutting.design))


def _reflector_files(cutting: Cutting, reflector: Reflector) -> dict[str, bytes]:
    making = cutting.making
    solid = reflector_solid(reflector, wall=making.reflector_wall, spigot=making.spigot)
    section = [full_section(reflector)]
    templates = [male_template(reflector), female_template(reflector)]
    mark = mark_of(cutting.design)
    return {
        "reflector.dxf": dxf_bytes(section, mark),
        "reflector.svg": svg_bytes(section, mark),
        "templates.dxf": dxf_bytes(templates, mark),
        "templates.svg": svg_bytes(templates, mark),
        "reflector.stl": stl_bytes(solid, mark),
        "reflector.3mf": threemf_bytes(solid, mark),
    }
