"""Whether a report still agrees with itself, and whether it is of the readings of a survey."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from html.parser import HTMLParser

from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.fingerprint import canonical, differences, differs, fingerprint, tables_in
from flatcheck.language import say
from flatcheck.readers.folder import checked
from flatcheck.report.case import Case, judged, outcomes
from flatcheck.survey import Survey, cell_name

MOST_BYTES = 64_000_000
"""A larger file is no report."""

IDS = ("verdict", "fingerprint", "readings", "survey")
"""The elements of a report that are read back, each of them once."""

LIVE = ("script", "iframe", "object", "embed", "link", "base", "form", "template")
"""Elements that no report of ours holds: they could show something else than what is read here."""

SHOWN, HASHED = say("the table that is shown"), say("the text that is hashed")
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
        raise SurveyError(
            say("{file} is no report that flatcheck made: it is not text.", file=name)
        ) from None
    places = read.found
    ids = [[text for key, text in places if key == f"#{one}"] for one in IDS]
    if any(len(texts) != 1 for texts in ids):
        missing = next(one for one, texts in zip(IDS, ids, strict=True) if len(texts) != 1)
        raise SurveyError(
            say(
                "{file} is no report that flatcheck made: it was expected to hold its {missing} "
                "once.",
                file=name,
                missing=missing,
            )
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
        say(
            "It holds <{tag}> of a kind that flatcheck does not write: what it shows may not be "
            "what it says.",
            tag=tag,
        )
        for tag in dict.fromkeys(read.foreign)
    ]
    if mark != shown.strip():
        problems.insert(
            0,
            say(
                "It shows the fingerprint {shown}; its readings give {found}.",
                shown=shown.strip(),
                found=mark,
            ),
        )
    outcome, survey = "", None
    try:
        survey = _rebuilt(document, readings)
        problems += differences(canonical(survey), readings, (say("its survey"), HASHED))
        case = Case(survey, *judged(survey))
    except FlatcheckError as error:
        problems.append(say("Its readings cannot be judged again: {error}", error=error))
    else:
        outcome = say(case.outcome).upper()
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
        cell, value = held.get(place, (say("cell {place}", place=place), ""))
        if " ".join(text.split()) != " ".join(value.split()):
            said.append(differs(cell, (text, value), (SHOWN, HASHED)))
    there = {place for place, _ in shown}
    missing = [cell for place, (cell, _) in held.items() if place not in there]
    return said + [say("{cell} is not shown.", cell=cell) for cell in missing]


def _rebuilt(document: str, readings: str) -> Survey:
    cells = {file: tuple(map(tuple, rows)) for file, (_, rows) in tables_in(readings)}
    try:
        return checked(document, cells)
    except KeyError as error:
        raise SurveyError(
            say("its survey names the table {table}, which it does not hold.", table=error)
        ) from None


def _verdict(case: Case, verdict: str, rules: Sequence[str], ends: Sequence[str]) -> list[str]:
    """Where the words of the verdict are not what the readings give.

    They are compared as they would be written now: a report is verified in its own language.
    """
    said, gives = [], say(case.outcome).upper()
    if verdict != gives:
        said.append(
            say("It says {said}, and its readings give {found}.", said=verdict, found=gives)
        )
    given = [(words, say(outcome).upper()) for words, outcome in outcomes(case)]
    if len(given) != len(rules) or len(given) != len(ends):
        shown = say(
            "It shows {shown} rules, and is judged by {judged}.",
            shown=len(rules),
            judged=len(given),
        )
        return [*said, shown]
    for (words, outcome), rule, end in zip(given, rules, ends, strict=True):
        if words != rule:
            said.append(
                say("It shows the rule {shown!r}, which is {rule!r}.", shown=rule, rule=words)
            )
        if outcome != end:
            said.append(
                say(
                    "It says {said} of {rule!r}, and its readings give {found}.",
                    said=end,
                    rule=words,
                    found=outcome,
                )
            )
    return said


def proof_words(name: str, found: Proof, survey: Survey | None) -> list[str]:
    """What is said of a report, and of the survey that it should be of."""
    said = []
    if found.problems:
        said += [say("{file} does not agree with itself:", file=name), *_told(found.problems)]
    else:
        said.append(
            say(
                "{file} agrees with itself: its readings have the fingerprint that it shows, and "
                "judged again they give {outcome}, as it says. Its drawings and other words were "
                "not compared.",
                file=name,
                outcome=found.outcome,
            )
        )
    if survey is not None:
        apart = apart_from(found, survey)
        said += (
            [
                say("They are not the readings of the survey, or not judged as it asks:"),
                *_told(apart),
            ]
            if apart
            else [say("They are the readings of the survey, to the last digit, judged as it asks.")]
        )
    said.append(
        say(
            "Its fingerprint, to hold against one noted elsewhere: {fingerprint}",
            fingerprint=found.fingerprint,
        )
    )
    return said


def apart_from(found: Proof, survey: Survey) -> list[str]:
    """Every reading in which a report and a survey differ, and whatever else they are judged by."""
    names = (say("the report"), say("the survey"))
    said = differences(found.readings, canonical(survey), names)
    if found.survey is None:
        return said  # told among its problems
    for one in fields(Survey):
        if one.name in NOT_JUDGED_BY:
            continue
        here, there = (getattr(of, one.name) for of in (found.survey, survey))
        if here != there and isinstance(here, str):
            said.append(
                say(
                    "The {setting} of the report is not that of the survey: {here!r} and "
                    "{there!r}.",
                    setting=one.name,
                    here=here,
                    there=there,
                )
            )
        elif here != there:
            said.append(
                say("The {setting} of the report is not that of the survey.", setting=one.name)
            )
    return said


def _told(problems: Sequence[str]) -> list[str]:
    told = [f"  {words}" for words in problems[:TOLD]]
    if len(problems) > TOLD:
        told.append(f"  {say('and {count} more.', count=len(problems) - TOLD)}")
    return told
