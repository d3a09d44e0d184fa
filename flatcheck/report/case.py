"""One job as it is reported: a survey, what was found on it, and what is to be done."""

from collections.abc import Callable
from dataclasses import dataclass

from flatcheck.assess import Assessment, assess
from flatcheck.change import Change, changed
from flatcheck.correction import Choice, Fix, correct, fix_named
from flatcheck.errors import SurveyError
from flatcheck.judgment import NO_FLATNESS
from flatcheck.language import say
from flatcheck.lippage import LippageVerdict, judge_steps
from flatcheck.report.words import outcome_of
from flatcheck.survey import Survey
from flatcheck.tables import readings_of
from flatcheck.verdict import Outcome, gravest


@dataclass(frozen=True, eq=False)
class Case:
    """A survey with its verdicts, and what belongs to it where there is any.

    `assessment` is None where only steps across joints were read. `choice` is the correction with
    `fix` as the remedy to be done; `before` the floor before the work and `change` what changed.
    """

    survey: Survey
    assessment: Assessment | None
    lippage: LippageVerdict | None
    choice: Choice | None = None
    fix: Fix | None = None
    before: Assessment | None = None
    change: Change | None = None

    @property
    def outcome(self) -> Outcome:
        """The gravest of what was found."""
        found = [self.assessment.verdict] if self.assessment else []
        return gravest(verdict.outcome for verdict in (*found, self.lippage) if verdict)


def judged(survey: Survey) -> tuple[Assessment | None, LippageVerdict | None]:
    """The verdict on the floor and that on its joints, each where it was asked for."""
    alone = survey.lippage and survey.standard == NO_FLATNESS and not survey.falls
    assessment = None if alone and not readings_of(survey) else assess(survey)
    return assessment, judge_steps(survey, assessment)


def case_of(
    survey: Survey,
    before: Survey | None = None,
    remedy: str | None = None,
    stop: Callable[[], bool] | None = None,
) -> Case:
    """Everything that is to be said of a survey: the verdicts, the correction, what changed.

    A correction is worked out where the floor is not within; `remedy` names one, else it is the
    cheapest that passes. `before` is a survey of the same floor before the work.

    Raises FlatcheckError for what cannot be used.
    """
    assessment, lippage = judged(survey)
    if assessment is None and (before or remedy):
        raise SurveyError(
            say("only steps across joints were read, and no heights to compare or to correct.")
        )
    choice = fix = earlier = change = None
    if assessment and (remedy or assessment.verdict.outcome is not Outcome.WITHIN):
        choice = correct(assessment, stop=stop)
        fix = fix_named(choice, remedy)
    if assessment and before:
        earlier = assess(before)
        change = changed(earlier, assessment)
    return Case(survey, assessment, lippage, choice, fix, earlier, change)


def outcomes(case: Case) -> list[tuple[str, Outcome]]:
    """Every rule that was asked, as a sentence with its zone, and how it ends."""
    found = []
    if case.assessment:
        verdict, zones = case.assessment.verdict, len(case.assessment.parts) > 1
        for finding in verdict.findings:
            zone = f"{finding.zone}: " if zones else ""
            found.append((f"{zone}{finding.rule.words}", outcome_of(finding, verdict.decision)))
    if case.lippage:
        words = " ".join(dict.fromkeys(joint.rule.words for joint in case.lippage.joints))
        found.append((words, case.lippage.outcome))
    return found
