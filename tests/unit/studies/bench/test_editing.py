"""Single keys in the text of a design: what is changed, and that nothing else is."""

import difflib
from pathlib import Path

import pytest
from small import EXAMPLES

from studies.bench.desk import Desk, Edition
from studies.bench.editing import EditError, place_of, with_kind, with_table, with_value, without
from studies.bench.form import form_of, kinds_at
from studies.design import design_schema, parse_design

TEXT = (EXAMPLES / "reading_room.toml").read_text(encoding="utf-8")


def changes(new: str, old: str = TEXT) -> list[str]:
    """Lines that differ, with their sign, blank ones left out."""
    lines = difflib.unified_diff(old.splitlines(), new.splitlines(), n=0, lineterm="")
    return [line for line in list(lines)[2:] if not line.startswith("@@") and line not in "+-"]


def test_one_value_is_changed_and_its_remark_stays() -> None:
    assert changes(with_value(TEXT, "reflector.keep", "41")) == [
        "-keep = 44                  # apex to flat; or cut_off = 136",
        "+keep = 41                  # apex to flat; or cut_off = 136",
    ]


@pytest.mark.parametrize(
    ("key", "typed", "line"),
    [
        ("trim.keep.from", "12.50", "+keep = { from = 12.50, to = 55, step = 1 }"),
        ("seats[2].distance", "10 m", '+distance = "10 m"'),
        ("plate.thickness", "5/8 in", '+thickness = "5/8 in"'),
        ("plate.thickness", "17 1/2", '+thickness = "17 1/2 mm"'),
        ("measuring.turntable", "true", "+turntable = true"),
        ("target.window", "[0, 20]", "+window = [0, 20]"),
    ],
)
def test_what_is_typed_becomes_a_value_of_its_kind(key: str, typed: str, line: str) -> None:
    assert line in changes(with_value(TEXT, key, typed))


def test_words_stay_words_and_cannot_break_out() -> None:
    hostile = 'a" \n[trim]\nkeep = 1'
    new = with_value(TEXT, "title", hostile, words=True)
    assert changes(new) == [
        '-title = "Reading room, 130 mm driver under a cap of a 180 mm ball"',
        '+title = "a\\" \\n[trim]\\nkeep = 1"',
    ]
    assert '"7"' in with_value(TEXT, "title", "7", words=True)


def test_nothing_typed_leaves_the_key_out() -> None:
    assert changes(with_value(TEXT, "plate.diameter", " ")) == ["-diameter = 200"]
    assert with_value(TEXT, "room.length", "") == TEXT


def test_tables_and_entries_come_and_go() -> None:
    assert changes(with_table(TEXT, "walls")) == ["+[walls]"]
    assert changes(with_table(TEXT, "seats[4]")) == ["+[[seats]]"]
    assert changes(with_table(TEXT, "driver.whizzer")) == ["+whizzer = {}"]
    assert [line for line in changes(without(TEXT, "contest[1]")) if line[0] == "+"] == []
    assert 'name = "cone"' not in without(TEXT, "contest[1]")
    assert "dust_cap" not in without(TEXT, "driver.dust_cap")


def test_another_kind_takes_only_what_it_knows() -> None:
    known = kinds_at("reflector")["cone"]
    new = with_kind(with_value(TEXT, "reflector.base_diameter", "150"), "reflector", "cone", known)
    table = new[new.index("[reflector]") : new.index("[plate]")]
    assert 'kind = "cone"' in table and "base_diameter = 150" in table
    assert "ball_diameter" not in table and "keep" not in table


def test_a_guess_that_is_corrected_is_no_guess_any_more() -> None:
    text = 'unit = "in"\n[driver]\nproud = 0.14  # guess: 0.02 x nominal\n'
    new = with_value(text, "driver.proud", "1/8")
    assert new.splitlines()[2] == 'proud = "1/8 in"  # as given; 0.02 x nominal'


@pytest.mark.parametrize(
    "key",
    ["", "a b", "../etc", "seats[0]", "seats[x]", ".".join("abcdefghij"), "a..b", "__class__."],
)
def test_what_is_no_key_is_refused(key: str) -> None:
    with pytest.raises(EditError, match="no key of a design"):
        place_of(key)


@pytest.mark.parametrize("typed", ["[1, 2", "{ a = }", "x" * 20_001])
def test_what_is_no_value_is_refused(typed: str) -> None:
    with pytest.raises(EditError):
        with_value(TEXT, "reflector.keep", typed)


def fields_of(nodes: list[dict]) -> dict[str, dict]:
    found = {}
    for node in nodes:
        found[node["key"]] = node
        found |= fields_of(node.get("fields", []) + node.get("entries", []))
    return found


def test_every_table_of_the_schema_has_its_group_and_every_key_its_field() -> None:
    groups = form_of(TEXT)
    properties = design_schema()["properties"]
    assert {group["key"] for group in groups[1:]} | {
        field["key"] for field in groups[0]["fields"]
    } == set(properties)
    found = fields_of(groups)
    driver = design_schema()["$defs"]["DriverTable"]["properties"]
    assert {f"driver.{key}" for key in driver} <= set(found)
    keep = found["reflector.keep"]
    assert (keep["value"], keep["unit"]) == ("44", "mm")
    assert keep["help"] == "From apex to flat of the piece that is kept."
    assert found["trim.keep.from"]["value"] == "15"
    assert found["seats[2].distance"]["value"] == "3 m"
    assert found["plate.shape"]["choices"] == ["round", "square", "hexagonal"]
    assert found["tweeter"]["there"] is False


def test_every_field_written_back_as_it_is_shown_changes_nothing() -> None:
    before = parse_design(TEXT, EXAMPLES / "reading_room.toml").tables
    for key, field in fields_of(form_of(TEXT)).items():
        if field.get("value"):
            new = with_value(TEXT, key, field["value"], words=key in ("title",))
            assert parse_design(new, EXAMPLES / "reading_room.toml").tables == before, key


def desk(text: str = TEXT) -> Desk:
    made = Desk()
    made.lay(Edition(text, EXAMPLES / "reading_room.toml"), saved=True)
    return made


def test_steps_back_and_forth() -> None:
    made = desk()
    for keep in (41, 42):
        made.lay(Edition(with_value(TEXT, "reflector.keep", str(keep)), Path("a")), saved=False)
    made.step(-1)
    assert made.edition is not None and "keep = 41" in made.edition.text
    made.step(-1)
    assert made.edition.text == TEXT and made.shown()["saved"]
    with pytest.raises(EditError, match="nothing to undo"):
        made.step(-1)
    made.step(1)
    made.lay(Edition(with_value(TEXT, "plate_gap", "61"), Path("a")), saved=False)
    with pytest.raises(EditError, match="nothing to redo"):
        made.step(1)


def test_letters_typed_into_one_field_are_one_step() -> None:
    made = desk()
    for typed in ("4", "41", "41.5"):
        new = Edition(with_value(TEXT, "reflector.keep", typed), Path("a"))
        made.lay(new, saved=False, key="reflector.keep")
    made.step(-1)
    assert made.edition is not None and made.edition.text == TEXT
    assert made.version == 5


def test_a_clash_is_told_at_its_key_and_drawn_all_the_same() -> None:
    shown = desk(with_value(TEXT, "plate_gap", "40")).shown()
    assert {one["key"] for one in shown["mistakes"]} == {"reflector"}
    assert "make the plate gap larger" in shown["mistakes"][0]["message"]
    assert shown["section"] is not None and shown["words"] == []


def test_a_mistake_stands_at_the_key_of_its_field() -> None:
    text = with_value(with_value(TEXT, "seats[2].distance", "3"), "trim.keep.step", "-1")
    shown = desk(text).shown()
    keys = {one["key"] for one in shown["mistakes"]}
    assert keys == {"seats[2].distance", "trim.keep.step"}
    assert keys <= set(fields_of(shown["groups"]))


def test_a_file_that_is_no_toml_can_still_be_corrected() -> None:
    shown = desk("title = ").shown()
    assert shown["groups"] == [] and "not valid TOML" in shown["mistakes"][0]["message"]


def test_every_key_has_help() -> None:
    def bare(nodes: list[dict]) -> list[str]:
        inside = [one for node in nodes for one in node.get("fields", node.get("entries", []))]
        return [node["key"] for node in nodes if not node["help"]] + (
            bare(inside) if inside else []
        )

    for example in sorted(EXAMPLES.glob("*.toml")):
        assert bare(form_of(example.read_text(encoding="utf-8"))) == [], example.name
