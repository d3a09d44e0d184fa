"""The report: one page for the client and for the file, with the readings and their fingerprint.

It holds all that it shows, runs nothing and asks no network. What a person typed is escaped.
"""

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from html import escape
from importlib.metadata import PackageNotFoundError, version

import tomli_w

from flatcheck.assess import Assessment
from flatcheck.box import judge_box
from flatcheck.correction import Choice, Fix, marks
from flatcheck.falls import drainage, plane_falls
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.instrument import fine
from flatcheck.report.box import box_words
from flatcheck.report.case import Case, outcomes
from flatcheck.report.change import change_body
from flatcheck.report.checks import checks, misread
from flatcheck.report.correction import cautions, mark_words, table
from flatcheck.report.doubts import doubts
from flatcheck.report.falls import plane_words, water_words
from flatcheck.report.joints import SIGN_WORDS, histogram_svg, joints_plan
from flatcheck.report.lippage import lippage_words
from flatcheck.report.marks import marks_drawing
from flatcheck.report.paper import listed, page, paragraphs
from flatcheck.report.plans import (
    SPOTS,
    falls_plan,
    legend,
    relief,
    section,
)
from flatcheck.report.plans import STYLE as DRAWN
from flatcheck.report.relief import worst_of
from flatcheck.report.section import profile_of
from flatcheck.report.text import cite
from flatcheck.report.words import (
    beside,
    disputes,
    explain,
    many,
    shape_words,
    side_word,
    spot_words,
    tile_size,
    titles,
)
from flatcheck.rules import grade_of
from flatcheck.survey import Survey, Table
from flatcheck.tables import tiles_of
from flatcheck.units import (
    Style,
    format_area,
    format_length,
    format_load,
    format_volume,
    format_weight,
)
from flatcheck.verdict import Outcome

WIDE = 100
"""So many letters fit beside each other in a table of readings; more columns go below."""

PRIVATE = "correction"
"""The section of a survey's document that stays out of the report: one's own prices and rates."""

MEANINGS = {
    Outcome.WITHIN: "every rule holds, even allowing for reading error",
    Outcome.OUT: "some place breaks a rule, even allowing for reading error",
    Outcome.CLOSE: "reading error could turn the answer",
    Outcome.NOT_ASSESSED: "the readings cannot show what the rule asks",
}
"""What each answer means where reading error is allowed for."""

AT_FACE = {
    Outcome.WITHIN: "every rule holds, the readings taken at face value",
    Outcome.OUT: "some place breaks a rule, the readings taken at face value",
}
"""What it means where the readings are taken at face value."""

RELIANCE = (
    "This report says what the readings show on the day they were taken, by the rules it names. A "
    "dip smaller than the space between two readings can be missed. Interpolated heights draw the "
    "maps and pass no rule. Many limits were seen in trade pages that quote the standards, as each "
    "source says; the standard itself, the tile maker's data sheet and the local code come first."
)

FINGERPRINT_WORDS = (
    "The fingerprint is the SHA-256 of the readings above, as they were written, in the text "
    "below: one JSON value a line, each line ended by one line feed. `flatcheck verify` with this "
    "file works it out again, judges the readings again, and with the survey names every reading "
    "that differs. It is no signature: note it elsewhere, such as in the offer or a message, so "
    "that nobody can change the readings and work out a new one."
)

_STYLE = """
@page {margin: 12mm 12mm 15mm; @bottom-right {content: counter(page) " / " counter(pages);
  font: 8pt "Liberation Sans", Arial, sans-serif}
  @bottom-left {content: "MARK"; font: 8pt "Liberation Sans", Arial, sans-serif}}
h2 {font-size: 12pt; font-weight: bold; margin: 6mm 0 2mm; border-bottom: 0.3mm solid #000;
  break-after: avoid}
h3 {font-size: 10pt; margin: 3mm 0 1mm; break-after: avoid}
p, ul {margin: 1.5mm 0}
ul {padding-left: 5mm}
li {break-inside: avoid}
svg {break-inside: avoid; margin: 1mm auto}
figure {margin: 2mm 0; break-inside: avoid}
figcaption, .fine {font-size: 8.5pt}
.verdict {font-size: 14pt; border: 0.6mm solid #000; padding: 2mm 3mm}
table.wide {width: 100%}
table td {vertical-align: top}
.facts th {text-align: left; width: 46mm}
.facts td {text-align: left}
td.outcome {text-align: left; font-weight: bold; width: 34mm}
tr.out td.outcome {border: 1mm solid #000}
tr.close td.outcome {border: 0.6mm dashed #000}
tr.not_assessed td.outcome {border: 0.6mm dotted #000}
tr {break-inside: avoid}
.spotlist td:first-child {white-space: nowrap}
.rules, .readings, .spotlist {break-inside: auto}
.readings {font-size: 8.5pt; margin-bottom: 3mm}
.readings td {padding: 0.2mm 1.2mm; text-align: left; max-width: 60mm}
@media screen {.scroll {overflow-x: auto}}
@media screen and (max-width: 600px) {.scroll {columns: 1 !important} .columns {columns: 1}
  .facts th {width: auto}}
.caution {border-left: 1mm solid #000; padding-left: 3mm; break-inside: avoid}
.columns {columns: 2; column-gap: 6mm; font-size: 9pt}
.canonical {font: 6.5pt/1.2 "Liberation Mono", monospace; white-space: pre-wrap}
code {font: bold 8.5pt "Liberation Mono", monospace}
.signed {display: flex; gap: 8mm; margin-top: 8mm; break-inside: avoid}
.signed p {flex: 1; border-top: 0.3mm solid #000; padding-top: 1mm}
"""


def report_html(case: Case, made: date) -> str:
    """The whole report, made on a day."""
    survey = case.survey
    text = canonical(survey)
    mark = fingerprint(text)
    body = [_head(case, mark, made), _rules(case)]
    if case.assessment:
        body += [_map(case.assessment), _falls(case.assessment)]
    body += [_lippage(case), _box(survey)]
    if case.choice:
        body.append(_correction(case.choice, case.fix))
    if case.assessment:
        if case.change and case.before:
            changed = change_body(case.change, case.before, case.assessment)
            body.append(f"<h2>Before and after</h2>{changed}")
        said = checks(case.assessment)
        body.append(f"<h2>What the readings say of each other</h2>{paragraphs(said)}")
    body += [_readings(survey), _proof(survey, text, mark)]
    short = f"readings {mark[:16]}"
    return page(survey.title, "".join(body), DRAWN + _STYLE.replace("MARK", short))


def _head(case: Case, mark: str, made: date) -> str:
    """The answer, and what was measured, by whom, with what, when, and by which rule."""
    survey, outcome = case.survey, case.outcome
    at_face = survey.decision == "as read"
    meant = (AT_FACE if at_face else {}).get(outcome, MEANINGS[outcome])
    fine_u = max((table.u_mm for table in survey.tables), default=None)
    reads = sum(bool(cell.strip()) for t in survey.tables for row in t.cells for cell in row)
    facts = [
        ("Place", survey.place),
        ("Read on", str(survey.day or "")),
        ("Read by", survey.by),
        ("Floor", survey.surface),
        ("Instrument", survey.instrument),
        (
            "One reading is good to",
            f"{fine(fine_u, survey.show)} (two in three are nearer)" if fine_u else "",
        ),
        ("Tile", tile_size(survey.tile, survey.show) if survey.tile else ""),
        ("Judged by", "; ".join(_standards(case))),
        ("Near a limit", f"decided {survey.decision}"),
        ("Notes", survey.notes),
        ("Readings", f"{many(len(survey.tables), 'table')}, {reads:,} cells filled, in full below"),
        ("Report made", f"{made.isoformat()} by flatcheck {_version()}".strip()),
    ]
    rows = "".join(
        f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in facts
        if value
    )
    found = case.assessment
    warned = [*doubts(found), *misread(found)] if found else []
    return (
        f'<p class="verdict"><b id="verdict">{escape(outcome.upper())}</b>: {escape(meant)}.</p>'
        f'<table class="facts wide">{rows}<tr><th>Fingerprint of the readings</th>'
        f'<td><code id="fingerprint">{mark}</code></td></tr></table>{paragraphs(warned)}'
    )


def _standards(case: Case) -> list[str]:
    said = titles(case.assessment.verdict) if case.assessment else []
    if case.lippage:
        standard, grade = grade_of(f"{case.lippage.standard}:{case.lippage.grade}")
        said.append(f"{standard.title} - {grade.title}")
    return said


def _version() -> str:
    try:
        return version("flatcheck")
    except PackageNotFoundError:  # run from its sources
        return ""


def _rules(case: Case) -> str:
    """Each rule with its outcome in words, what was found and how sure it is, and its source."""
    findings = case.assessment.verdict.findings if case.assessment else ()
    explained = [explain(f, case.assessment) for f in findings if case.assessment]
    citations = [finding.rule.citation for finding in findings]
    if case.lippage:
        explained.append(["See the joints below."])
        citations += [joint.rule.citation for joint in case.lippage.joints]
    rows = "".join(
        f'<tr class="{outcome.name.lower()}"><td class="outcome">{escape(outcome.upper())}</td>'
        f'<td class="words"><b class="rule">{escape(words)}</b>{paragraphs(said)}</td></tr>'
        for (words, outcome), said in zip(outcomes(case), explained, strict=True)
    )
    other = [beside(v) for v in (case.assessment and case.assessment.verdict, case.lippage) if v]
    shape = shape_words(case.assessment) if case.assessment else []
    sources = [cite(citation) for citation in dict.fromkeys(citations)]
    apart = disputes(case.assessment.verdict) if case.assessment else []
    return (
        f'<h2>Verdict by rule</h2><table class="rules wide">{rows}</table>'
        f"{paragraphs(dict.fromkeys(other))}{paragraphs(shape)}"
        f"<h3>The rules and how sure their numbers are</h3>"
        f"{paragraphs(apart)}{paragraphs(sources, 'fine')}"
    )


def _map(assessment: Assessment) -> str:
    """Where the floor is high and low, with the worst bar, and the list of spots."""
    survey, room = assessment.survey, assessment.surface.room
    spots, unit = assessment.verdict.spots, "inches" if survey.show.unit == "in" else "millimeters"
    low, high = (side_word(way, room) for way in (False, True))
    key = [
        f"Red is {high} of the required plane, blue and hatched is {low}; gray was not read. "
        f"Numbers are departures in {unit}, dots the readings."
    ]
    if not room.upright:
        key.append("North is up.")
    if spots:
        key.append(
            f"A triangle up is {high}, down is {low}; filled is beyond reading error, hollow may "
            "be reading error. An outline holds the floor that belongs to a spot."
        )
    finding = worst_of(assessment)
    side = ""
    if finding and finding.worst:
        key.append("The thick line is where it is worst, and lies on the two squares.")
        drawn = section(profile_of(assessment, finding), survey.show)
        side = (
            f"<h3>The worst place, from the side</h3><figure>{drawn}"
            f"<figcaption>{escape(finding.rule.words)}</figcaption></figure>"
        )
    rows = "".join(
        f'<tr><td>{spot.number}</td><td class="words">{escape(spot_words(spot, room, survey.show))}'
        "</td></tr>"
        for spot in spots[:SPOTS]
    )
    more = f"<p>{len(spots) - SPOTS} more are in the tables.</p>" if len(spots) > SPOTS else ""
    listing = f'<h3>Where it is out</h3><table class="spotlist wide">{rows}</table>{more}'
    return (
        f"<h2>Where it is {high} and {low}</h2><figure>{relief(assessment)}{legend(assessment)}"
        f"<figcaption>{escape(' '.join(key))}</figcaption></figure>{side}{listing if spots else ''}"
    )


def _falls(assessment: Assessment) -> str:
    planes = plane_falls(assessment)
    if not planes:
        return ""
    style, room, water = assessment.survey.show, assessment.surface.room, drainage(assessment)
    said = [plane_words(plane, style) for plane in planes]
    said += [words for zone in water for words in water_words(zone, room, style)]
    return (
        f"<h2>How it falls</h2><figure>{falls_plan(assessment, planes, water)}<figcaption>"
        "Arrows show which way and how much each plane falls as read. Solid lines are valleys, "
        f"dashed ones ridges; a numbered outline is standing water.</figcaption></figure>"
        f"{paragraphs(said)}"
    )


def _lippage(case: Case) -> str:
    if not case.lippage:
        return ""
    lines = lippage_words(case.lippage, case.survey)
    rows = [words for words in lines if "   " in words.strip()]
    # The outcome, the standard and the sources are told with those of the floor.
    told = {*rows, *lines[:3], *(cite(joint.rule.citation) for joint in case.lippage.joints)}
    said = [words for words in lines if words not in told]
    return (
        f"<h2>Steps between tiles</h2><figure>{joints_plan(case.lippage, case.survey)}"
        f"<figcaption>{SIGN_WORDS}</figcaption></figure>"
        f"<figure>{histogram_svg(case.lippage, case.survey.show)}<figcaption>How many joints "
        f"stand proud by up to how much.</figcaption></figure>{listed(said)}"
    )


def _box(survey: Survey) -> str:
    if not tiles_of(survey):
        return ""
    return f"<h2>The tiles themselves</h2>{listed(box_words(judge_box(survey), survey))}"


def _correction(choice: Choice, fix: Fix | None) -> str:
    """What is to be done, how much of it, where, with which cautions, and what else was tried."""
    style = choice.site.assessment.survey.show
    refused = [f"{refusal.title}: {refusal.why}" for refusal in choice.refused]
    if fix is None:
        if len(why := dict.fromkeys(refusal.why for refusal in choice.refused)) == 1:
            refused = list(why)
        none = "No remedy was found that brings it in; this is what stands in the way of each."
        return f"<h2>Correction</h2>{paragraphs([none, *refused])}"
    head, *rows = table(choice)
    kept = [k for k, name in enumerate(head) if name != "cost"]
    beside_each_other = "".join(
        "<tr>" + "".join(f'<td class="words">{escape(row[k])}</td>' for k in kept) + "</tr>"
        for row in (head, *rows)
    )
    taken = "".join(
        f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in _quantities(fix, style)
    )
    drawn = ""
    if fix.proposal.id != "nothing":
        plan = marks_drawing(choice, marks(choice.site, fix.proposal))
        drawn = (
            f"<figure>{plan}<figcaption>X: grind off. O: fill. Each with its depth; a square "
            "is a height that must not change.</figcaption></figure>"
            f'<div class="columns">{listed(mark_words(choice, fix))}</div>'
        )
    warned = "".join(
        f'<p class="caution"><b>Caution.</b> {escape(words)}</p>'
        for words in cautions(replace(choice, fixes=(fix,)))
    )
    return (
        f'<h2>Correction</h2><h3>{escape(fix.proposal.title)}</h3><table class="facts wide">{taken}'
        f"</table>{drawn}{warned}<h3>What else was tried</h3>"
        f'<div class="scroll"><table>{beside_each_other}</table></div>'
        f"{paragraphs(refused, 'fine')}"
    )


def _quantities(fix: Fix, style: Style) -> list[tuple[str, str]]:
    """What the work takes, without prices: those are between whoever pays and whoever works."""
    takes, material = fix.takes, fix.proposal.material
    said = []
    if takes.grind_l > 0:
        said.append(
            (
                "Grind off",
                f"{format_volume(takes.grind_l, style)} (give or take "
                f"{format_volume(2 * takes.u_grind_l, style)}), up to "
                f"{format_length(takes.highest_mm, style)} deep over "
                f"{format_area(takes.grind_m2 * 1e6, style)}",
            )
        )
    if takes.fill_l > 0 and material is not None:
        lifts = f", in {fix.proposal.lifts} lifts" if fix.proposal.lifts > 1 else ""
        said += [
            (
                "Fill",
                f"{format_volume(takes.fill_l, style)} (give or take "
                f"{format_volume(2 * takes.u_fill_l, style)}), up to "
                f"{format_length(takes.deepest_mm, style)} deep{lifts} over "
                f"{format_area(takes.fill_m2 * 1e6, style)}",
            ),
            (
                "Material",
                f"{many(takes.bags, 'bag')} of {material.name} of "
                f"{format_weight(material.bag_kg, style)}, and primer",
            ),
            (
                "Weight",
                f"{format_weight(takes.fill_kg, style)}, "
                f"{format_load(takes.load_kg_m2, style)} at its thickest",
            ),
        ]
    said.append(("Work", f"{takes.hours:.1f} hours" if takes.hours else "none"))
    if takes.wait_h:
        said.append(("Wait before tile", f"{takes.wait_h:.0f} hours"))
    said += [
        (f"At {name}", f"rises {format_length(mm, style)}" if mm > 0.05 else "stays as it is")
        for name, mm in fix.rises
    ]
    said.append(("Measured again after it", f"{fix.verdict.outcome}, as predicted"))
    return said


def _readings(survey: Survey) -> str:
    """Every cell of every table as it was written."""
    tables = "".join(
        f"<h3>{escape(_meaning(table, survey.show))}</h3>{_cells(number, table)}"
        for number, table in enumerate(survey.tables, 1)
    )
    return f"<h2>Readings in full, as written</h2>{tables}"


def _meaning(table: Table, style: Style) -> str:
    sense = {"rod": ", rod: larger is lower", "elevation": ", elevation: larger is higher"}
    more = "".join(f", {key} = {value}" for key, value in table.options)
    return (
        f"{table.name}: {table.kind}{sense.get(table.sense, '')}; bare readings in {table.unit}, "
        f"bare offsets in {table.offset_unit}; good to {fine(table.u_mm, style)}{more}"
    )


def _cells(number: int, table: Table) -> str:
    """A table's cells; one that is too wide for paper in parts, its first column in front of each.

    Each cell says where it is: table, row and column, counted from 1.
    """
    count = max((len(row) for row in table.cells), default=0)
    widths = [
        min(max((len(row[c]) for row in table.cells if c < len(row)), default=0), 30) + 3
        for c in range(count)
    ]
    drawn = []
    for columns in _split(widths):
        rows = "".join(
            "<tr>"
            + "".join(
                f'<td data-at="{number}:{r}:{c + 1}">{escape(row[c])}</td>'
                for c in columns
                if c < len(row)
            )
            + "</tr>"
            for r, row in enumerate(table.cells, 1)
        )
        beside = max(1, WIDE // sum(widths[c] for c in columns))
        drawn.append(
            f'<div class="scroll" style="columns: {beside}">'
            f'<table class="readings">{rows}</table></div>'
        )
    return "".join(drawn)


def _split(widths: Sequence[int]) -> Iterable[list[int]]:
    """Columns in groups that fit beside each other, the first in front of each."""
    group: list[int] = []
    for c, width in enumerate(widths):
        if group and sum(widths[k] for k in group) + width > WIDE and len(group) > 1:
            yield group
            group = [0]
        group.append(c)
    if group:
        yield group


def _proof(survey: Survey, text: str, mark: str) -> str:
    """What the report is worth, a place to sign, and the readings in the text that is hashed."""
    head = tomllib.loads(survey.document)
    head.pop(PRIVATE, None)
    return (
        f"<h2>What this rests on</h2><p>{escape(RELIANCE)}</p>"
        '<div class="signed"><p>Read by, date</p><p>For the client, date</p></div>'
        f"<h2>Fingerprint</h2><p><code>{mark}</code></p><p>{escape(FINGERPRINT_WORDS)}</p>"
        "<details><summary>The text that is hashed</summary>"
        f'<pre class="canonical" id="readings">\n{escape(text)}</pre></details>'
        f'<pre id="survey" hidden>\n{escape(tomli_w.dumps(head))}</pre>'
    )
