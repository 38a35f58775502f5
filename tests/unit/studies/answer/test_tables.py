"""Results in words and tables: complete, adding up, in both systems, readable."""

import io
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text
from small import small_design

from dispersion.elevations import level_db
from dispersion.solvers import SOLVERS, solve_waves
from shapes.clearances import list_clearances
from studies.answer import cautions
from studies.answer.columns import both, both_short, formula, mm, text
from studies.answer.printing import PAGE_WIDTH, open_console, print_findings, print_table
from studies.answer.table import Findings, Table
from studies.design import parse_design
from studies.questions.contest.figures import contest_pictures
from studies.questions.contest.study import Contest, contest
from studies.questions.contest.tables import contest_tables
from studies.questions.gap.study import GapStudy, gap
from studies.questions.gap.tables import gap_tables
from studies.questions.section.tables import section_tables
from studies.questions.spread.study import Spread, spread
from studies.questions.spread.tables import spread_tables
from studies.questions.trim.choice import Trim
from studies.questions.trim.figures import trim_pictures
from studies.questions.trim.steps import ShaveStep
from studies.questions.trim.study import trim
from studies.questions.trim.tables import trim_tables
from studies.solving.candidates import NearBest, Row
from studies.solving.ensemble import Judged
from studies.solving.shaving import Cut, shaving_stops
from studies.solving.target import METER_DB

EXAMPLES = Path(__file__).resolve().parents[4] / "studies" / "examples"
MEASURED = ("ball_diameter = 180 ", "ball_diameter = [179.5, 180.5] ")
TERMS = ("coverage", "steadiness", "residue", "boost")


@pytest.fixture(scope="module")
def trimmed() -> Trim:
    return trim(small_design(MEASURED), solve_waves)


@pytest.fixture(scope="module")
def gaps() -> GapStudy:
    return gap(small_design(), solve_waves)


@pytest.fixture(scope="module")
def contested() -> Contest:
    tall = '{ kind = "cone", base_diameter = 150, height = 70 }'
    return contest(
        small_design(('reflector = { kind = "none" }', f"reflector = {tall}")), solve_waves
    )


WIDE = ("+0.12 and +0.02 ",) * 11


@pytest.fixture(scope="module")
def spread_out() -> Spread:
    return spread(small_design(), solve_waves, fineness=4)


def printed(findings: Findings) -> str:
    page = io.StringIO()
    print_findings(open_console(page), findings)
    return page.getvalue()


def test_no_line_of_a_narrow_column_ends_within_a_length() -> None:
    page, columns = io.StringIO(), tuple(text(f"k{i}", f"h{i}", "") for i in range(8))
    cells = ("64.0 (2 17/32)", "3 ft (2 1/8 in)") * 4
    print_table(open_console(page), Table("sizes", "Sizes", columns, (cells,)))
    lines = page.getvalue().splitlines()
    assert sum(line.count("(2 17/32)") for line in lines) == 4
    assert sum(line.count("(2 1/8 in)") for line in lines) == 4


def test_no_word_of_a_wide_table_is_cut_off() -> None:
    page, columns = io.StringIO(), tuple(text(f"k{i}", f"h{i}", "") for i in range(12))
    print_table(open_console(page), Table("sizes", "Sizes", columns, (("temperature", *WIDE),)))
    assert "temperature" in page.getvalue()


def with_score(row: Row, score_db: float) -> Row:
    """Row whose score is moved to a value, all in the first term."""
    card = row.scorecard
    first = replace(card.terms[0], measured=score_db, weight=1.0)
    others = tuple(replace(term, weight=0.0) for term in card.terms[1:])
    return replace(row, found=replace(row.found, scorecard=replace(card, terms=(first, *others))))


def said(findings: Findings, words: str) -> str:
    """Return the one sentence of the answer that holds these words."""
    (sentence,) = (sentence for sentence in findings.answer if words in sentence)
    return sentence


def assert_adds_up(table: Table) -> None:
    solved = [record for record in table.records() if record["score_db"] is not None]
    assert solved
    for record in solved:
        shares = sum(record[f"{term}_share_db"] for term in TERMS)
        assert shares == pytest.approx(record["score_db"], abs=1e-9)


def test_lengths_are_written_in_both_systems() -> None:
    assert both(26.0) == "26.0 mm (1 1/32 in)"
    assert both_short(26.0) == "26.0 (1 1/32)"
    assert mm(0.026000000000000002) == 26.0


def test_the_formula_names_the_weights_and_the_wanted_tilt() -> None:
    target = small_design().target
    line = "Score = 2 x coverage + 1 x steadiness + 0.5 x residue + 0.1 x boost, dB."
    assert formula(target) == line
    assert "a tilt of -0.5 dB an octave" in formula(target.model_copy(update={"wanted_tilt": -0.5}))


def test_trim_answers_first_and_in_both_systems(trimmed: Trim) -> None:
    findings = trim_tables(trimmed)
    keep, ball = findings.fact("keep_mm"), findings.fact("ball_diameter_mm")
    assert findings.answer[0].startswith(f"Keep {both(keep)} of the ball of {both(ball)}: cut off")
    assert findings.fact("cut_off_mm") == pytest.approx(ball - keep)
    base = 2 * math.sqrt(keep * (ball - keep))
    assert findings.fact("base_diameter_mm") == pytest.approx(base, abs=1e-5)
    slope = math.degrees(math.asin(base / ball))
    assert findings.fact("rim_slope_deg") == pytest.approx(slope, abs=1e-6)
    assert both(findings.fact("base_diameter_mm")) in said(findings, "Check: ")


def test_a_ball_in_place_of_a_cone_is_held_against_that_cone(
    trimmed: Trim, contested: Contest
) -> None:
    path = EXAMPLES / "reading_room_cone.toml"
    design = parse_design(path.read_text(encoding="utf-8"), path)
    (cone,) = (row for row in contested.rows if row.name == "cone")

    def told(further_db: float) -> Findings:
        row = with_score(cone, trimmed.best.row.score + further_db)
        return trim_tables(replace(trimmed, design=design, as_written=row))

    worse, better = told(1.5), told(-1.5)
    assert (
        "Over the cone of the file, its plate at 60.0 mm (2 3/8 in): 1.50 dB gained"
        in (worse.answer[0])
    )
    assert worse.answer[0].startswith("Keep ")
    assert better.answer[0].startswith("No ball is sure to pay in place of the cone.")
    assert "1.50 dB LOST" in better.answer[0]
    assert better.fact("gain_over_reflector_of_the_file_db") == pytest.approx(-1.5)


def test_trim_hides_no_candidate(trimmed: Trim) -> None:
    findings = trim_tables(trimmed)
    table = findings.table("candidates")
    assert table.values("keep_mm") == (20.0, 30.0, 40.0, 62.0)
    assert_adds_up(table)
    last = table.records()[-1]
    assert last["score_db"] is None
    assert last["reason"] == trimmed.cuts[-1].row.reason != ""
    assert table.values("standing").count("best") == 1
    page = printed(findings)
    assert "62.0 (2 7/16)" in page
    assert "(1) the reflector is 62.0 mm" in page


def test_trim_compares_and_says_no_difference(trimmed: Trim) -> None:
    best = trimmed.best.row.score
    held = replace(
        trimmed,
        half_ball=with_score(trimmed.half_ball, best + 0.05),
        plate_alone=with_score(trimmed.plate_alone, best + 1.25),
        bare_column=with_score(trimmed.bare_column, best - 0.5),
    )
    findings = trim_tables(held)
    assert "0.05 dB gained, no difference" in said(findings, "Against the half ball")
    assert "1.25 dB gained, real" in said(findings, "Against the top plate alone")
    assert "0.50 dB LOST, probable" in said(findings, "Against the bare column")
    assert findings.fact("gain_over_top_plate_alone_db") == pytest.approx(1.25)
    assert_adds_up(findings.table("comparison"))


def test_trim_tells_the_near_best_range(trimmed: Trim) -> None:
    wide = replace(trimmed, near_best=NearBest(0.025, 0.028, 0.3))
    sentence = said(trim_tables(wide), "Anywhere")
    assert sentence == (
        "Anywhere between 25.0 mm (31/32 in) and 28.0 mm (1 3/32 in) is within 0.3 dB of the best."
    )
    alone = replace(trimmed, near_best=NearBest(0.025, 0.025, 0.3))
    assert said(trim_tables(alone), "No other height tried is within 0.3 dB")


def test_trim_names_and_shades_a_second_range(trimmed: Trim) -> None:
    best, far = NearBest(0.02, 0.03, 0.3), NearBest(0.04, 0.04, 0.3)
    held = replace(trimmed, near_best=best, islands=(far,))
    findings = trim_tables(held)
    sentence = said(findings, "Anywhere")
    assert "so is another range, apart from it: 40.0 mm. " in sentence
    larger = "What is chosen" if trimmed.best.keep >= 0.04 else "The larger keep, 40.0 mm"
    assert larger in sentence and "the cautious one: it can be cut down" in sentence
    marks = findings.table("candidates").records()
    assert {row["keep_mm"] for row in marks if row["standing"]} == {20.0, 30.0, 40.0}
    assert held.runner_up is None
    figure = trim_pictures(held)["score"].figure
    named = {text.get_text() for text in figure.legends[0].get_texts()}
    assert "within 0.3 dB of the lowest: 20.0 mm to 30.0 mm" in named
    assert "as good, apart from it: 40.0 mm" in named


def test_a_cap_that_cannot_be_drawn_is_told_with_its_reason(trimmed: Trim) -> None:
    never = Cut(0.18, 0.2, Row("ball 180 mm, keep 200 mm", reason="the ball is not so tall"))
    table = trim_tables(replace(trimmed, cuts=(*trimmed.cuts, never))).table("candidates")
    last = table.records()[-1]
    assert (last["keep_mm"], last["reason"]) == (200.0, "the ball is not so tall")
    assert last["plate_gap_mm"] is None and last["score_db"] is None


def test_an_entry_that_cannot_be_drawn_keeps_its_place_in_the_picture(contested: Contest) -> None:
    never = Row("knife edge", reason="no such cone")
    entries, rows = (*contested.entries, contested.entries[-1]), (*contested.rows, never)
    pictures = contest_pictures(replace(contested, entries=entries, rows=rows))
    words = [text.get_text() for text in pictures["contest"].figure.findobj(Text)]
    assert "knife edge\ncannot be built" in words


def test_trim_warns_at_the_end_of_the_range(trimmed: Trim) -> None:
    first = replace(trimmed, best=trimmed.cuts[0])
    assert said(trim_tables(first), "smallest size tried, so the true best may lie beyond: widen")
    middle = replace(trimmed, best=trimmed.cuts[1])
    assert not [s for s in trim_tables(middle).answer if "size tried" in s]
    tallest = replace(trimmed, best=trimmed.cuts[2])
    assert said(trim_tables(tallest), "largest size tried that can be built")


def test_trim_tells_what_an_uneven_ball_costs_only_if_it_is_the_measured_one(
    trimmed: Trim,
) -> None:
    findings = trim_tables(trimmed)
    assert said(findings, "The ball measures 179.5 mm to 180.5 mm")
    assert findings.fact("ball_spread_score_db") == trimmed.ball_spread.score_change_db
    on_sale = ("[trim]\n", "[trim]\nballs_on_sale = [150]\n")
    bought = trim(small_design(MEASURED, on_sale), SOLVERS["edges"])
    assert bought.best.ball_diameter == 0.15
    other = trim_tables(bought)
    assert not [s for s in other.answer if "The ball measures" in s]
    assert other.fact("ball_spread_score_db") is None


def test_shaving_goes_from_tall_to_short_and_names_the_bands(trimmed: Trim) -> None:
    stops = shaving_stops(trimmed.cuts, trimmed.cuts[0])
    steps = tuple(ShaveStep(start, stop) for start, stop in pairwise(stops))
    findings = trim_tables(replace(trimmed, best=trimmed.cuts[0], steps=steps))
    table = findings.table("shaving")
    assert table.values("from_keep_mm") == (40.0, 30.0)
    assert table.values("keep_mm") == (30.0, 20.0)
    for record, step in zip(table.records(), steps, strict=True):
        levels = [cut.row.coverage.window_level_db for cut in (step.start, step.stop)]
        change = levels[1] - levels[0]
        largest = change[np.argmax(np.abs(change))]
        assert record["largest_change_db"] == largest
        assert f"{largest:+.1f}" in record["most_changed"].split(",")[0]
        assert record["shows_on_a_meter"] == (abs(largest) >= METER_DB)
        assert record["most_changed"].count(",") == 2
    bands = findings.table("shaving_bands")
    assert len(bands.rows) == 3 * len(steps)
    assert bands.scope == "data"


def test_gap_recommends_and_gives_the_post_length(gaps: GapStudy) -> None:
    findings = gap_tables(gaps)
    best = findings.fact("plate_gap_mm")
    assert findings.answer[0].startswith(f"Hang the plate {both(best)} above the baffle: posts")
    assert findings.fact("post_length_mm") == pytest.approx(best + 20.0)
    assert both(best + 20.0) in findings.answer[0]
    table = findings.table("gaps")
    assert table.values("plate_gap_mm") == (54.0, 58.0, 62.0, 66.0)
    assert_adds_up(table)


def test_gap_chooses_and_compares_by_the_members_where_they_were_asked(gaps: GapStudy) -> None:
    """Made-up members: the lowest score of the file is behind in nine of ten."""
    rows = tuple(choice.row for choice in gaps.contenders)
    other = next(choice for choice in gaps.contenders if choice is not gaps.lowest)
    scores = np.full((len(rows), 10), 5.0)
    scores[rows.index(gaps.lowest.row), 1:] = 6.0
    scores[rows.index(other.row)] = 4.0
    found = gap_tables(
        replace(
            gaps,
            best=other,
            judged=Judged(rows=rows, scores=scores, levels_db=np.zeros((*scores.shape, 1))),
        )
    )
    assert found.fact("plate_gap_mm") == other.plate_gap * 1e3
    assert found.fact("regret_db") == 0.0
    lowest = next(
        r for r in found.table("judged").records() if r["candidate"] == gaps.lowest.row.name
    )
    assert (lowest["regret_db"], lowest["verdict"]) == (2.0, "real")
    assert lowest["behind_db"] == pytest.approx(1.9)
    assert said(
        found, f"The very sizes of the file would choose {both(gaps.lowest.plate_gap * 1e3)}"
    )
    assert said(found, "Judged by 10 drivers and builds")


def test_gap_shows_ring_area_and_plate_limit(gaps: GapStudy) -> None:
    table = gap_tables(gaps).table("airways")
    for record, choice in zip(table.records(), gaps.choices, strict=True):
        built = choice.row.assembly
        a = built.driver.effective_radius
        ring = 2 * built.throat_gap / a
        assert record["ring_over_driver"] == pytest.approx(ring)
        speed = gaps.design.air.speed
        assert record["plate_limit_hz"] == pytest.approx(speed / (2e-3 * record["plate_gap_mm"]))
        named = [float(f) for f in record["notches_hz"].split()]
        assert len(named) == len(choice.notches_hz)
        assert record["notches"] != ""


def test_gap_tells_what_the_air_weighs_on_the_cone(gaps: GapStudy) -> None:
    """The mass falls as the plate goes up; a cone that is heavier than assumed loses less."""
    findings = gap_tables(gaps)
    table = findings.table("airways")
    masses = table.values("air_load_g")
    assert sorted(masses, reverse=True) == list(masses)
    load = gaps.air_load(gaps.smallest)
    assert said(findings, f"{load.mass * 1e3:.2g} g at the smallest of these gaps, {both(54.0)}")
    assert 0.0 < replace(load, moving_mass=2.0 * load.moving_mass).loss_db < load.loss_db
    assert findings.fact("air_load_g") == pytest.approx(1e3 * gaps.air_load(gaps.best).mass)


def test_contest_ranks_and_keeps_what_cannot_be_built(contested: Contest) -> None:
    findings = contest_tables(contested)
    table = findings.table("ranking")
    assert table.values("place") == (1, 2, 3, None)
    assert table.values("candidate")[-1] == "bare top plate"
    assert "tall" in table.values("reason")[-1]
    assert_adds_up(table)
    assert findings.fact("winner") == table.values("candidate")[0]
    assert findings.fact("margin_db") == pytest.approx(contested.margin_db)


def test_contest_says_no_difference_where_there_is_none(contested: Contest) -> None:
    def told(second_db: float) -> Findings:
        scores = (1.0, second_db, 3.0)
        rows = [with_score(row, s) for row, s in zip(contested.rows, scores, strict=False)]
        return contest_tables(replace(contested, rows=(*rows, contested.rows[-1])))

    assert told(1.09).answer[0].startswith("No difference: 'as designed' and 'cone'.")
    assert told(1.09).fact("verdict") == "no difference"
    assert told(1.11).fact("verdict") == "cannot be told apart"
    first = told(2.0).answer[0]
    assert first.startswith("First is 'as designed' with a score of 1.00 dB. Over 'cone': 1.00 dB")
    assert first.endswith("gained, real.")


def test_octaves_are_absolute_mean_powers(contested: Contest) -> None:
    table = contest_tables(contested).table("octaves")
    first = contested.ranking[0]
    levels = first.coverage.window_level_db
    # 500 and 630 Hz lie in the octave of 500 Hz, 800 Hz in that of 1 kHz.
    half_khz = 10 * np.log10(np.mean(10 ** (levels[:2] / 10)))
    record = table.records()[0]
    assert record["level_500_hz_db"] == pytest.approx(half_khz)
    assert record["level_1_khz_db"] == pytest.approx(levels[2])


def test_spread_shows_every_band_and_seat(spread_out: Spread) -> None:
    table = spread_tables(spread_out).table("bands")
    found, response = spread_out.row.coverage, spread_out.row.response
    assert table.values("frequency_hz") == pytest.approx(found.centres)
    assert table.values("window_level_db") == pytest.approx(found.window_level_db)
    assert table.values("upward_leak_percent") == pytest.approx(100 * found.upward_leak)
    for n in range(3):
        alone = np.abs(response.alone).reshape(-1, 4) ** 2
        power = (alone * np.abs(response.near[:, n]).reshape(-1, 4) ** 2).mean(axis=1)
        level = level_db(power / alone.mean(axis=1))
        assert table.values(f"seat_{n + 1}_level_db") == pytest.approx(level)


def test_spread_tells_the_treble_limit_or_why_not(spread_out: Spread) -> None:
    def told(limit_hz: float) -> str:
        coverage = replace(spread_out.row.coverage, treble_limit_hz=limit_hz)
        row = replace(spread_out.row, found=replace(spread_out.row.found, coverage=coverage))
        return said(spread_tables(replace(spread_out, row=row)), "Treble limit")

    top = float(spread_out.row.coverage.centres[-1])
    assert "or more, the highest band computed" in told(top)
    assert "630 Hz, the highest band within 6 dB" in told(630.957)
    assert "not told" in told(math.nan)


def test_raw_curves_are_for_files_only(spread_out: Spread) -> None:
    findings = spread_tables(spread_out)
    curves, elevations = findings.table("curves"), findings.table("elevations")
    assert {curves.scope, elevations.scope} == {"bulk"}
    assert len(curves.rows) == len(spread_out.row.response.problem.frequencies)
    assert curves.values("driver_alone_db") == pytest.approx(spread_out.driver_alone_db)
    found = spread_out.row.coverage
    assert elevations.values("level_db") == pytest.approx(found.level_db.ravel())
    at_zero = [r for r in elevations.records() if r["elevation_deg"] == 0.0]
    ring = found.level_db[:, found.elevations == 0.0].ravel()
    assert [r["level_db"] for r in at_zero] == pytest.approx(ring)


def test_section_names_three_gaps_and_all_clearances() -> None:
    design = small_design()
    findings = section_tables(design)
    for words in ("plate gap 60.0 mm", "rim gap 60.0 mm", "tip clearance 29.0 mm"):
        assert words in findings.answer[0]
    table = findings.table("clearances")
    clearances = list_clearances(design.assembly())
    assert table.values("name") == tuple(c.name for c in clearances)
    assert table.values("clearance_mm") == pytest.approx([1e3 * c.value_m for c in clearances])
    assert said(findings, "each cut to 80.0 mm (3 5/32 in)")
    assert findings.evidence is None
    lengths = dict(
        zip(
            findings.table("reflector").values("name"),
            findings.table("reflector").values("length_mm"),
            strict=True,
        )
    )
    assert lengths["keep"] == 44.0
    assert lengths["cut off"] == 136.0
    # The one verdict on tipping, by what everything weighs, as `roundcast cut` gives it.
    assert cautions.tips_over(design.stance) in findings.cautions


def test_section_says_that_a_square_column_counts_as_round() -> None:
    findings = section_tables(small_design(('shape = "round"', 'shape = "square"')))
    # 200 mm square: diameter 2 * 200 / sqrt(pi) = 225.7 mm.
    assert "225.7 mm" in said(findings, "square column is computed as a round one of equal area")


def test_evidence_names_mesh_power_and_driver_once(trimmed: Trim) -> None:
    evidence = trim_tables(trimmed).evidence
    best = trimmed.best.row.response
    assert evidence.unknowns_lowest >= best.unknowns[0]
    assert evidence.lowest_hz == best.problem.frequencies[0]
    rows = [cut.row for cut in trimmed.cuts if cut.row.solved]
    assert evidence.worst_power_error_db >= max(r.response.worst_power_error_db for r in rows)
    assert len(set(evidence.remarks)) == len(evidence.remarks)
    assert sum("lets go above 4000 Hz" in remark for remark in evidence.remarks) == 1
    assert sum("posts are left out" in remark for remark in evidence.remarks) == 1
    assert any("waves" in sentence for sentence in evidence.sentences())


@pytest.mark.parametrize("fixture", ["trimmed", "gaps", "contested", "spread_out", "section"])
def test_print_fits_the_page_and_answers_before_it_proves(
    fixture: str, request: pytest.FixtureRequest
) -> None:
    tell = {
        "trimmed": trim_tables,
        "gaps": gap_tables,
        "contested": contest_tables,
        "spread_out": spread_tables,
    }
    if fixture == "section":
        findings = section_tables(small_design())
    else:
        findings = tell[fixture](request.getfixturevalue(fixture))
    page = printed(findings)
    lines = page.splitlines()
    assert max(len(line) for line in lines) <= PAGE_WIDTH
    assert "\x1b" not in page
    assert "…" not in page
    assert lines[0] == findings.design.title
    assert page.replace("\n", " ").index(findings.answer[0]) < page.index("Take care")
    for table in findings.tables:
        assert (table.title in page.replace("\n", " ")) == (table.scope == "printed")


def test_every_key_is_unique_and_described(
    trimmed: Trim, gaps: GapStudy, contested: Contest, spread_out: Spread
) -> None:
    everything = (
        trim_tables(trimmed),
        gap_tables(gaps),
        contest_tables(contested),
        spread_tables(spread_out),
        section_tables(small_design()),
    )
    for findings in everything:
        names = [table.name for table in findings.tables]
        assert len(set(names)) == len(names)
        for table in findings.tables:
            keys = [column.key for column in table.columns]
            assert len(set(keys)) == len(keys)
            assert all(column.description for column in table.columns)
            assert all(len(row) == len(keys) for row in table.rows)
        facts = [fact.key for fact in findings.facts]
        assert len(set(facts)) == len(facts)
        assert all(fact.description for fact in findings.facts)
