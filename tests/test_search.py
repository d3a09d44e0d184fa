"""The correction on the page, worked out aside: told of, stopped, and its errors shown."""

import time
from pathlib import Path

import pytest

from flatcheck.assess import Assessment, assess
from flatcheck.errors import SurveyError
from flatcheck.readers.folder import read_folder
from flatcheck.ui import correction
from flatcheck.ui.correction import Search

SAMPLES = Path(__file__).parents[1] / "sample_surveys"


@pytest.fixture(scope="module")
def waves() -> Assessment:
    """A floor whose search takes several rounds."""
    return assess(read_folder(SAMPLES / "marram-hall-waves"))


def test_to_the_end(waves: Assessment) -> None:
    """Left alone it finds what is found without it, and has told of a round."""
    search = Search(waves)
    assert search.done(60)
    assert [fix.proposal.id for fix in search.found().fixes] == ["pour", "least", "patch"]
    assert "round" in search.told


def test_stopped(waves: Assessment, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after its first round it ends with plans that pass, and no sooner is it done."""
    whole = correction.correct

    def slowly(assessment, tell, stop):
        def told(*news):
            tell(*news)
            while not stop():
                time.sleep(0.01)

        return whole(assessment, told, stop)

    monkeypatch.setattr(correction, "correct", slowly)
    search = Search(waves)
    assert not search.done(0.3)
    search.stop()
    assert search.done(60)
    assert all(fix.verdict.outcome == "within" for fix in search.found().fixes)
    assert search.found().fixes


def test_what_stands_in_its_way(waves: Assessment, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of the search is raised where its result is asked for."""

    def refused(*_):
        raise SurveyError("hall door: no reading lies within 50 mm of it.")

    monkeypatch.setattr(correction, "correct", refused)
    search = Search(waves)
    assert search.done(60)
    with pytest.raises(SurveyError, match="hall door"):
        search.found()
