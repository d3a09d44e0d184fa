"""The report: one page for the client and for the file, with the readings and their fingerprint.

It holds all that it shows, runs nothing and asks no network. What a person typed is escaped.
"""

from datetime import date
from html import escape
from importlib.metadata import PackageNotFoundError, version

from flatcheck.assess import Assessment
from flatcheck.box import judge_box
from flatcheck.falls import drainage, plane_falls
from flatcheck.fingerprint import canonical, fingerprint
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.report.annex import proof, readings
from flatcheck.report.box import box_words
from flatcheck.report.case import Case, outcomes
from flatcheck.report.change import change_body
from flatcheck.report.checks import checks
from flatcheck.report.doubts import doubts
from flatcheck.report.falls import plane_words, water_words
from flatcheck.report.joints import SIGN_WORDS, histogram_svg, joints_plan
from flatcheck.report.lippage import lippage_words
from flatcheck.report.misread import misread
from flatcheck.report.paper import figure, heading, listed, page, paragraphs
from flatcheck.report.plans import (
    SPOTS,
    falls_plan,
    legend,
    relief,
    section,
)
from flatcheck.report.plans import STYLE as DRAWN
from flatcheck.report.relief import worst_of
from flatcheck.report.remedy import correction
from flatcheck.report.section import profile_of
from flatcheck.report.text import cite
from flatcheck.report.words import (
    beside,
    disputes,
    explain,
    shape_words,
    side_word,
    spot_words,
    tile_size,
    titles,
)
from flatcheck.rules import grade_of
from flatcheck.survey import Survey
from flatcheck.tables import tiles_of
from flatcheck.verdict import Outcome

MEANINGS = {
    Outcome.WITHIN: say("every rule holds, even allowing for reading error"),
    Outcome.OUT: say("some place breaks a rule, even allowing for reading error"),
    Outcome.CLOSE: say("reading error could turn the answer"),
    Outcome.NOT_ASSESSED: say("the readings cannot show what the rule asks"),
}
"""What each answer means where reading error is allowed for."""

AT_FACE = {
    Outcome.WITHIN: say("every rule holds, the readings taken at face value"),
    Outcome.OUT: say("some place breaks a rule, the readings taken at face value"),
}
"""What it means where the readings are taken at face value."""

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
        body.append(correction(case.choice, case.fix))
    if case.assessment:
        if case.change and case.before:
            changed = change_body(case.change, case.before, case.assessment)
            body.append(heading(say("Before and after")) + changed)
        said = paragraphs(checks(case.assessment))
        body.append(heading(say("What the readings say of each other")) + said)
    body += [readings(survey), proof(survey, text, mark)]
    short = say("readings {mark}", mark=mark[:16])
    return page(survey.title, "".join(body), DRAWN + _STYLE.replace("MARK", short))


def _head(case: Case, mark: str, made: date) -> str:
    """The answer, and what was measured, by whom, with what, when, and by which rule."""
    survey, outcome = case.survey, case.outcome
    at_face = survey.decision == "as read"
    meant = (AT_FACE if at_face else {}).get(outcome, MEANINGS[outcome])
    fine_u = max((table.u_mm for table in survey.tables), default=None)
    facts = [
        (say("Place"), survey.place),
        (say("Read on"), str(survey.day or "")),
        (say("Read by"), survey.by),
        (say("Floor"), survey.surface),
        (say("Instrument"), survey.instrument),
        (
            say("One reading is good to"),
            say("{size} (two in three are nearer)", size=fine(fine_u, survey.show))
            if fine_u
            else "",
        ),
        (say("Tile"), tile_size(survey.tile, survey.show) if survey.tile else ""),
        (say("Judged by"), "; ".join(_standards(case))),
        (
            say("Near a limit"),
            say("decided as read") if at_face else say("decided allowing for reading error"),
        ),
        (say("Notes"), survey.notes),
        (say("Readings"), _filled(survey)),
        (
            say("Report made"),
            say("{day} by flatcheck {version}", day=made.isoformat(), version=_version()).strip(),
        ),
    ]
    rows = "".join(
        f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in facts
        if value
    )
    found = case.assessment
    warned = [*doubts(found), *misread(found)] if found else []
    return (
        f'<p class="verdict"><b id="verdict">{escape(say(outcome).upper())}</b>: '
        f'{escape(meant)}.</p><table class="facts wide">{rows}'
        f"<tr><th>{escape(say('Fingerprint of the readings'))}</th>"
        f'<td><code id="fingerprint">{mark}</code></td></tr></table>{paragraphs(warned)}'
    )


def _filled(survey: Survey) -> str:
    """How much was read."""
    return several(
        len(survey.tables),
        "{number} table, {reads:,} cells filled, in full below",
        "{number} tables, {reads:,} cells filled, in full below",
        reads=sum(bool(cell.strip()) for t in survey.tables for row in t.cells for cell in row),
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
        explained.append([say("See the joints below.")])
        citations += [joint.rule.citation for joint in case.lippage.joints]
    rows = "".join(
        f'<tr class="{outcome.name.lower()}">'
        f'<td class="outcome">{escape(say(outcome).upper())}</td>'
        f'<td class="words"><b class="rule">{escape(words)}</b>{paragraphs(said)}</td></tr>'
        for (words, outcome), said in zip(outcomes(case), explained, strict=True)
    )
    other = [beside(v) for v in (case.assessment and case.assessment.verdict, case.lippage) if v]
    shape = shape_words(case.assessment) if case.assessment else []
    sources = [cite(citation) for citation in dict.fromkeys(citations)]
    apart = disputes(case.assessment.verdict) if case.assessment else []
    return (
        f'{heading(say("Verdict by rule"))}<table class="rules wide">{rows}</table>'
        f"{paragraphs(dict.fromkeys(other))}{paragraphs(shape)}"
        f"{heading(say('The rules and how sure their numbers are'), 3)}"
        f"{paragraphs(apart)}{paragraphs(sources, 'fine')}"
    )


def _map(assessment: Assessment) -> str:
    """Where the floor is high and low, with the worst bar, and the list of spots."""
    survey, room = assessment.survey, assessment.surface.room
    spots, inches = assessment.verdict.spots, survey.show.unit == "in"
    low, high = (side_word(way, room) for way in (False, True))
    key = [
        say(
            "Red is {high} of the required plane, blue and hatched is {low}; gray was not read.",
            high=high,
            low=low,
        ),
        say("Numbers are departures in inches, dots the readings.")
        if inches
        else say("Numbers are departures in millimeters, dots the readings."),
    ]
    if not room.upright:
        key.append(say("North is up."))
    if spots:
        key.append(
            say(
                "A triangle up is {high}, down is {low}; filled is beyond reading error, hollow "
                "may be reading error. An outline holds the floor that belongs to a spot.",
                high=high,
                low=low,
            )
        )
    finding = worst_of(assessment)
    side = ""
    if finding and finding.worst:
        key.append(say("The thick line is where it is worst, and lies on the two squares."))
        drawn = section(profile_of(assessment, finding), survey.show)
        side = heading(say("The worst place, from the side"), 3) + figure(drawn, finding.rule.words)
    rows = "".join(
        f'<tr><td>{spot.number}</td><td class="words">{escape(spot_words(spot, room, survey.show))}'
        "</td></tr>"
        for spot in spots[:SPOTS]
    )
    listing = ""
    if spots:
        listing = heading(say("Where it is out"), 3)
        listing += f'<table class="spotlist wide">{rows}</table>'
    if len(spots) > SPOTS:
        more = say("{count} more are in the tables.", count=len(spots) - SPOTS)
        listing += paragraphs([more])
    plan = relief(assessment) + legend(assessment)
    title = heading(say("Where it is {high} and {low}", high=high, low=low))
    return f"{title}{figure(plan, ' '.join(key))}{side}{listing}"


def _falls(assessment: Assessment) -> str:
    planes = plane_falls(assessment)
    if not planes:
        return ""
    style, room, water = assessment.survey.show, assessment.surface.room, drainage(assessment)
    said = [plane_words(plane, style) for plane in planes]
    said += [words for zone in water for words in water_words(zone, room, style)]
    key = say(
        "Arrows show which way and how much each plane falls as read. Solid lines are valleys, "
        "dashed ones ridges; a numbered outline is standing water."
    )
    drawn = figure(falls_plan(assessment, planes, water), key)
    return heading(say("How it falls")) + drawn + paragraphs(said)


def _lippage(case: Case) -> str:
    if not case.lippage:
        return ""
    lines = lippage_words(case.lippage, case.survey)
    rows = [words for words in lines if "   " in words.strip()]
    # The outcome, the standard and the sources are told with those of the floor.
    told = {*rows, *lines[:3], *(cite(joint.rule.citation) for joint in case.lippage.joints)}
    said = [words for words in lines if words not in told]
    plan = figure(joints_plan(case.lippage, case.survey), SIGN_WORDS)
    sizes = figure(
        histogram_svg(case.lippage, case.survey.show),
        say("How many joints stand proud by up to how much."),
    )
    return heading(say("Steps between tiles")) + plan + sizes + listed(said)


def _box(survey: Survey) -> str:
    if not tiles_of(survey):
        return ""
    return heading(say("The tiles themselves")) + listed(box_words(judge_box(survey), survey))
