"""Whether a report still agrees with itself, and whether it is of the readings of a survey."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from html.parser import HTMLParser

from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.fingerprint import canonical, differences, differs, fingerprint, tables_in
from flatcheck.readers.folder import checked
from flatcheck.report.case import Case, judged, outcomes
from flatcheck.survey import Survey, cell_name

MOST_BYTES = 64_000_000
"""A larger file is no report."""

IDS = ("verdict", "fingerprint", "readings", "survey")
"""The elements of a report that are read back, each of them once."""

LIVE = ("script", "iframe", "object", "embed", "link", "base", "form", "template")
"""Elements that no report of ours holds: they could show something else than what is read here."""

SHOWN, HASHED = "the table that is shown", "the text that is hashed"
"""What the two places are called in which a report holds its readings."""

NOT_JUDGED_BY = ("document", "tables", "show", "terms")
"""What may differ: how it is written and said, and prices; tables are compared cell by cell."""

TOLD = 20
"""More differences than this are counted, not told."""


@dataclass(frozen=True)
class Proof:
    """What was found in a report: its readings, their fingerprint, and what does not agree.

    `outcome` is what the readings give when they are judged again, blank where they cannot be.
    `survey` is what they were judged as, None where they cannot be.
    """

    readings: str
    survey: Survey | None
    fingerprint: str
    outcome: str
    problems: tuple[str, ...]


class _Report(HTMLParser):
    """The places of a report that are read back, each with its text, in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self.foreign: list[str] = []
        self._open: tuple[str, str] | None = None
        self._text: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        unseen = any(word in given.get("style", "") for word in ("display", "visibility"))
        hidden = "hidden" in given and tag != "pre"  # the survey and the readings at the end
        if tag in LIVE or unseen or hidden or any(name.startswith("on") for name in given):
            self.foreign.append(tag)
        if given.get("id") in IDS:
            self._open = (tag, f"#{given['id']}")
        elif "data-at" in given:
            self._open = (tag, f"@{given['data-at']}")
        elif given.get("class") in ("outcome", "rule"):
            self._open = (tag, given["class"])
        else:
            return
        self._text = []

    def handle_data(self, data: str) -> None:
        self._text.append(data)

    def handle_endtag(self, tag: str) -> None:
        if self._open and self._open[0] == tag:
            self.found.append((self._open[1], "".join(self._text)))
            self._open = None


def proven(name: str, data: bytes) -> Proof:
    """Works a report's fingerprint out again, and judges its readings again.

    Raises SurveyError for a file that is no report.
    """
    try:
        read = _Report(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise SurveyError(f"{name} is no report that flatcheck made: it is not text.") from None
    places = read.found
    ids = [[text for key, text in places if key == f"#{one}"] for one in IDS]
    if any(len(texts) != 1 for texts in ids):
        missing = next(one for one, texts in zip(IDS, ids, strict=True) if len(texts) != 1)
        raise SurveyError(
            f"{name} is no report that flatcheck made: it was expected to hold its {missing} once."
        )
    verdict, shown, readings, document = (texts[0] for texts in ids)
    # Browsers leave out the line feed after <pre>; a mail program may have put carriage returns.
    readings, document = (
        text.replace("\r\n", "\n").removeprefix("\n") for text in (readings, document)
    )
    mark = fingerprint(readings)
    cells = [(key[1:], text) for key, text in places if key.startswith("@")]
    problems = _cells(cells, readings)
    problems += [
        f"It holds <{tag}> of a kind that flatcheck does not write: what it shows may not be what "
        "it says."
        for tag in dict.fromkeys(read.foreign)
    ]
    if mark != shown.strip():
        problems.insert(0, f"It shows the fingerprint {shown.strip()}; its readings give {mark}.")
    outcome, survey = "", None
    try:
        survey = _rebuilt(document, readings)
        problems += differences(canonical(survey), readings, ("its survey", HASHED))
        case = Case(survey, *judged(survey))
    except FlatcheckError as error:
        problems.append(f"Its readings cannot be judged again: {error}")
    else:
        outcome = case.outcome.upper()
        ends = [text for key, text in places if key == "outcome"]
        rules = [text for key, text in places if key == "rule"]
        problems += _verdict(case, verdict, rules, ends)
    return Proof(readings, survey, mark, outcome, tuple(problems))


def _cells(shown: Sequence[tuple[str, str]], readings: str) -> list[str]:
    """Where the tables that are shown do not hold what the hashed text does."""
    held: dict[str, tuple[str, str]] = {}
    for number, (file, (_, rows)) in enumerate(tables_in(readings), 1):
        for r, row in enumerate(rows, 1):
            for c, cell in enumerate(row, 1):
                held[f"{number}:{r}:{c}"] = (cell_name(file, r, c), cell)
    said = []
    for place, text in shown:
        cell, value = held.get(place, (f"cell {place}", ""))
        if " ".join(text.split()) != " ".join(value.split()):
            said.append(differs(cell, (text, value), (SHOWN, HASHED)))
    there = {place for place, _ in shown}
    said += [f"{cell} is not shown." for place, (cell, _) in held.items() if place not in there]
    return said


def _rebuilt(document: str, readings: str) -> Survey:
    cells = {file: tuple(map(tuple, rows)) for file, (_, rows) in tables_in(readings)}
    try:
        return checked(document, cells)
    except KeyError as error:
        raise SurveyError(f"its survey names the table {error}, which it does not hold.") from None


def _verdict(case: Case, verdict: str, rules: Sequence[str], ends: Sequence[str]) -> list[str]:
    """Where the words of the verdict are not what the readings give."""
    said = []
    if verdict != case.outcome.upper():
        said.append(f"It says {verdict}, and its readings give {case.outcome.upper()}.")
    given = [(words, outcome.upper()) for words, outcome in outcomes(case)]
    if len(given) != len(rules) or len(given) != len(ends):
        return [*said, f"It shows {len(rules)} rules, and is judged by {len(given)}."]
    for (words, outcome), rule, end in zip(given, rules, ends, strict=True):
        if words != rule:
            said.append(f"It shows the rule {rule!r}, which is {words!r}.")
        if outcome != end:
            said.append(f"It says {end} of {words!r}, and its readings give {outcome}.")
    return said


def proof_words(name: str, found: Proof, survey: Survey | None) -> list[str]:
    """What is said of a report, and of the survey that it should be of."""
    said = []
    if found.problems:
        said += [f"{name} does not agree with itself:", *_told(found.problems)]
    else:
        said.append(
            f"{name} agrees with itself: its readings have the fingerprint that it shows, and "
            f"judged again they give {found.outcome}, as it says. Its drawings and other words "
            "were not compared."
        )
    if survey is not None:
        apart = apart_from(found, survey)
        said += (
            ["They are not the readings of the survey, or not judged as it asks:", *_told(apart)]
            if apart
            else ["They are the readings of the survey, to the last digit, judged as it asks."]
        )
    said.append(f"Its fingerprint, to hold against one noted elsewhere: {found.fingerprint}")
    return said


def apart_from(found: Proof, survey: Survey) -> list[str]:
    """Every reading in which a report and a survey differ, and whatever else they are judged by."""
    said = differences(found.readings, canonical(survey), ("the report", "the survey"))
    if found.survey is None:
        return said  # told among its problems
    for one in fields(Survey):
        if one.name in NOT_JUDGED_BY:
            continue
        here, there = (getattr(of, one.name) for of in (found.survey, survey))
        if here != there:
            both = f": {here!r} and {there!r}" if isinstance(here, str) else ""
            said.append(f"The {one.name} of the report is not that of the survey{both}.")
    return said


def _told(problems: Sequence[str]) -> list[str]:
    told = [f"  {words}" for words in problems[:TOLD]]
    return told if len(problems) <= TOLD else [*told, f"  and {len(problems) - TOLD} more."]
