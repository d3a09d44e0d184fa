"""The correction: all remedies beside each other, judged again, priced, and what would turn it."""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slabs import STEP, STRICT, TABLE, head, rough, slab

from flatcheck import correction
from flatcheck.assess import Assessment, assess, reads_floor
from flatcheck.correction import (
    GRINDER,
    MARK_MM,
    TO_GRIND,
    Choice,
    Fix,
    Flip,
    correct,
    fix_named,
    marks,
    remedies,
)
from flatcheck.errors import SurveyError
from flatcheck.instead import Instead
from flatcheck.quantities import quantities
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.refusal import NOT_TRIED, UNFINISHED, Refusal
from flatcheck.site import Proposal, rejudged
from flatcheck.surface import decided
from flatcheck.survey import Survey
from flatcheck.terms import Terms
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
WAYS = {"grind", "least", "nothing", "patch", "pour", "screed"}


@cache
def sample(name: str) -> Choice:
    """What to do with a sample."""
    return correct(assess(read_folder(SAMPLES / name)))


def chosen(survey: Survey) -> Choice:
    """What to do with a survey; all that is always true of it is looked at."""
    choice = correct(assess(survey))
    checked_choice(choice)
    return choice


def checked_choice(choice: Choice) -> None:
    """Every remedy is offered or refused; what is offered passes and keeps what must be kept."""
    site = choice.site
    ids = [fix.proposal.id for fix in choice.fixes] + [refusal.id for refusal in choice.refused]
    assert sorted(ids) == sorted(WAYS)
    prices = [fix.takes.money for fix in choice.fixes]
    assert prices == sorted(prices)
    for fix in choice.fixes:
        fill, grind = fix.proposal.fill_mm, fix.proposal.grind_mm
        again = rejudged(site, fill, grind)[1]
        assert again.outcome is fix.verdict.outcome is Outcome.WITHIN
        assert fill.min() >= 0
        assert grind.min() >= 0
        assert np.all(grind <= site.most_grind_mm + 1e-9)
        for stations, keep in site.kept:
            assert keep.fill or not fill[stations].any()
        for (stations, rise), (_, rises) in zip(site.held, fix.rises, strict=True):
            assert np.all(fill[stations] <= rise + 1e-9)
            assert rises <= rise + 1e-9
        assert 0 <= fix.gap_ratio <= 1e-6
    for refusal in choice.refused:
        assert refusal.why.endswith(".")


def refusal_of(choice: Choice, remedy: str) -> str:
    """Why a remedy was refused."""
    (why,) = [refusal.why for refusal in choice.refused if refusal.id == remedy]
    return why


# The samples


def test_grinding_wins() -> None:
    """Two humps on a slab, the grinder their own: grinding is cheapest.

    Two readings are ground; patching would feather out around both humps over more than ten times
    that floor, and both together take a bag and both tools. At the door nothing rises, so that
    neither leveler nor mortar bed fits under it.
    """
    choice = sample("gorse-yard-humps")
    checked_choice(choice)
    assert [fix.proposal.id for fix in choice.fixes] == ["grind", "patch", "least"]
    first, second, both = choice.fixes
    assert len(marks(choice.site, first.proposal)) == 2
    assert second.takes.fill_m2 > 10 * first.takes.grind_m2
    assert both.proposal.cost < first.proposal.cost < second.proposal.cost
    assert both.takes.bags == 1
    assert both.takes.grind_l > 0
    assert first.rises == (("hall door", 0.0),)
    assert "the height of " in refusal_of(choice, "pour")
    assert "too high for 'hall door'" in refusal_of(choice, "screed")
    amount, price = choice.flips
    assert (amount.what, price.what) == (TO_GRIND, GRINDER)
    assert amount.then > 3 * amount.now
    assert price.now == 0


def test_patching_wins() -> None:
    """Two dips in a post-tensioned slab: patching takes one bag, pouring five; nothing is ground.

    Deciding are the bags: patching stays the cheaper until a bag costs many times as much.
    """
    choice = sample("withy-lane-dips")
    checked_choice(choice)
    assert [fix.proposal.id for fix in choice.fixes] == ["patch", "pour", "screed"]
    assert [fix.takes.bags for fix in choice.fixes[:2]] == [1, 5]
    assert choice.fixes[0].takes.fill_l < choice.fixes[1].takes.fill_l / 10
    for remedy in ("grind", "least"):
        assert "post-tensioned" in refusal_of(choice, remedy)
    assert [flip.what for flip in choice.flips] == ["bags of patch", "a bag of patch"]
    assert choice.flips[0].then >= 4
    assert choice.flips[1].then > 5 * choice.flips[1].now


def test_pouring_wins() -> None:
    """A hall with waves all over and a door that may rise 30 mm: a pump beats a trowel.

    Pouring takes five times the volume of patching, and a third of its hours; grinding alone fails.
    """
    choice = sample("marram-hall-waves")
    checked_choice(choice)
    assert [fix.proposal.id for fix in choice.fixes] == ["pour", "least", "patch"]
    pour, both, _ = choice.fixes
    assert pour.takes.fill_l > 5 * both.takes.fill_l
    assert pour.takes.hours < both.takes.hours / 3
    assert pour.takes.grind_l > 0
    ((name, rise),) = pour.rises
    assert name == "double door"
    assert 0 < rise < 30
    assert "By grinding alone the rule" in refusal_of(choice, "grind")
    assert [flip.what for flip in choice.flips] == ["bags of self-leveler", "a bag of self-leveler"]
    assert all(flip.then > 2 * flip.now for flip in choice.flips)


def read() -> list[str]:
    """The samples that read a floor: steps over joints alone are of one that is laid."""
    return [
        path.name
        for path in sorted(SAMPLES.iterdir())
        if path.is_dir() and reads_floor(read_folder(path))
    ]


@pytest.mark.parametrize("name", read())
def test_every_sample(name: str) -> None:
    """On every sample each remedy passes or says why not, and a floor that is within stays."""
    choice = sample(name)
    checked_choice(choice)
    if choice.site.assessment.verdict.outcome is Outcome.WITHIN:
        assert choice.fixes[0].proposal.id == "nothing"
        assert choice.fixes[0].takes.money == 0
        assert choice.instead == ()


# Never a plan that does not pass


def test_a_plan_that_does_not_pass_is_not_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a remedy proposes is refused in the rule's own words where it does not pass."""
    assessment = assess(slab(rough(5, 6, 1, 2.0)))
    none = np.zeros(30)
    bad = SimpleNamespace(
        ID="bad", TITLE="A bad idea", propose=lambda site: Proposal("bad", "Bad", none, none, None)
    )
    monkeypatch.setattr(correction, "remedies", lambda: (bad,))
    choice = correct(assessment)
    assert choice.fixes == ()
    (refusal,) = choice.refused
    assert refusal.why.startswith("Measured again after the work the floor is out: No gap over")


def test_a_rule_that_cannot_be_judged() -> None:
    """Where the readings cannot show a rule, no plan is proven and all are refused, the rule named.

    A 2 ft bar on readings 500 mm apart shows nothing of 1/16 in in 24 in.
    """
    tile = {"length": "24 in", "width": "24 in"}
    choice = chosen(slab(np.zeros((5, 6)), standard={"rule": "us-tile"}, tile=tile))
    assert choice.fixes == ()
    assert {refusal.id for refusal in choice.refused} == WAYS
    assert all("24 in straightedge" in refusal.why for refusal in choice.refused)
    # A quarter of the bar, as README has it.
    assert all("a reading every 152 mm or closer" in refusal.why for refusal in choice.refused)


@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_any_floor(data: st.DataObject) -> None:
    """On any floor and terms every fix passes again, holds are kept, and bounds too."""
    rows, columns = data.draw(st.integers(3, 5)), data.draw(st.integers(3, 6))
    size = data.draw(st.sampled_from([0.3, 1.0, 3.0]))
    kinds = st.sampled_from(["concrete", "wood", "heated"])
    hold = {"name": "door", "at": [0, 0], "rise": data.draw(st.sampled_from([0, "5 mm", "50 mm"]))}
    keep = {"name": "hatch", "outline": [[400, 400], [1100, 400], [1100, 600], [400, 600]]}
    keep |= {"grind": data.draw(st.booleans()), "fill": data.draw(st.booleans())}
    terms = {
        "substrate": data.draw(kinds),
        "placing": data.draw(st.sampled_from([0, "0.2 mm"])),
        "feather": data.draw(st.sampled_from(["1:1", "1:50"])),
        "load": data.draw(st.sampled_from(["5 kg/m2", "200 kg/m2"])),
    }
    chosen(
        slab(
            rough(rows, columns, data.draw(st.integers(0, 999)), size),
            hold=[hold] if data.draw(st.booleans()) else [],
            keep=[keep] if data.draw(st.booleans()) else [],
            standard=STRICT | {"decision": data.draw(st.sampled_from(DECISIONS))},
            correction=terms,
        )
    )


DECISIONS = ("allowing for reading error", "as read")


# Floors of other kinds


def test_a_floor_that_is_within() -> None:
    """A floor that is within is left as it is; the rest says that there is nothing to do."""
    choice = chosen(slab(np.zeros((5, 6))))
    assert choice.fixes[0].proposal.id == "nothing"
    for remedy in ("grind", "patch", "least"):
        said = refusal_of(choice, remedy)
        assert said == "There is nothing to do: every rule holds as it is."
    assert choice.instead == ()


ZONES = [
    {
        "name": "wet",
        "outline": [[0, 0], [1500, 0], [1500, 2500], [0, 2500]],
        "intent": {"kind": "fall", "fall": "2 %", "toward": "west"},
    },
    {
        "name": "dry",
        "outline": [[1500, 0], [3000, 0], [3000, 2500], [1500, 2500]],
        "intent": {"kind": "level"},
    },
]


def test_a_zone_that_falls_beside_a_level_one() -> None:
    """Falls and flatness are asked of each zone as it is meant to be, before and after.

    Where water stands is no linear form of the heights, so nothing is said to be proven least.
    """
    z = rough(11, 13, 5, 1.0) + 5.0 * np.minimum(np.arange(13) - 6, 0)[None]
    standard = {"rule": "bs-8204:SR1", "falls": ["wet-practice"]}
    choice = chosen(slab(z, step=250, zone=ZONES, standard=standard))
    assert {"patch", "least"} <= {fix.proposal.id for fix in choice.fixes}
    assert "makes no falls" in refusal_of(choice, "pour")
    assert all(fix.proposal.least_cost is None for fix in choice.fixes)
    assert {finding.zone for finding in choice.fixes[0].verdict.findings} == {"wet", "dry"}


def test_falls_alone() -> None:
    """With no standard for flatness a floor is corrected to its falls; nothing else is offered.

    A leveler makes no falls, and no other standard for flatness would help.
    """
    z = np.repeat(12.0 * np.arange(7)[None], 7, axis=0)
    z[3, 3] += 12
    intent = {"kind": "fall", "fall": "4 %", "toward": "west"}
    standard = {"rule": "none", "falls": ["bs-falls"]}
    choice = chosen(slab(z, step=300, intent=intent, standard=standard))
    assert choice.site.assessment.verdict.outcome is not Outcome.WITHIN
    assert choice.instead == ()
    assert "makes no falls" in refusal_of(choice, "pour")


def test_other_flatness_does_not_help_falls() -> None:
    """A floor that stands in water would pass no other standard for flatness."""
    assert sample("cressbrook-pan").instead == ()


def test_no_standard_at_all() -> None:
    """With no standard there is nothing to correct to, and that is said at the door."""
    with pytest.raises(SurveyError, match="no standard is named"):
        correct(assess(slab(np.zeros((4, 5)), standard={"rule": "none"})))


def gaps(dip_mm: float) -> Assessment:
    """A floor read under a bar alone, both ways on a chalk grid, with a dip in its middle.

    One bar more, on the diagonal over places already read, shows the twist.
    """
    rows = [("bar", "x1", "y1", "toward", "length", "at", "gap")]
    for k in range(9):
        for way, at in (("east", ("0", f"{250 * k}")), ("north", (f"{250 * k}", "0"))):
            for step in range(9):
                gap = dip_mm if (k, step) == (4, 4) else 0.0
                rows.append((f"{way}{k}", *at, way, "2000", f"{250 * step}", f"{gap:g}"))
    for step in range(9):
        at_mm, gap = 250 * math.sqrt(2) * step, dip_mm if step == 4 else 0.0
        rows.append(("across", "0", "0", "45", "2829", f"{at_mm:.3f}", f"{gap:g}"))
    text = head(2000, 2000, {"table": [{"file": "t.csv", "kind": "gaps"}]})
    return assess(checked(text, {"t.csv": tuple(rows)}))


def test_gaps_under_a_bar_alone() -> None:
    """A dip that only a bar showed is patched; what must be level is not laid on it.

    The readings leave a plane open: rules look at what they decide.
    """
    assessment = gaps(6.0)
    free = assessment.surface.free
    assert free.size
    choice = correct(assessment)
    for asked in choice.site.demands:
        assert decided(free, asked.stations, asked.weights).all()
    checked_choice(choice)
    assert choice.fixes[0].proposal.id == "patch"
    (mark,) = marks(choice.site, choice.fixes[0].proposal)
    assert mark.at == pytest.approx((1000, 1000))
    assert 3.0 < mark.depth_mm < 6.0
    for remedy in ("pour", "screed"):
        assert "read heights with a level or a laser" in refusal_of(choice, remedy)


def test_two_pieces() -> None:
    """Where no reading joins two pieces of a floor no plan is proven: nobody knows the step."""
    z = np.zeros((5, 5))
    text = head(
        4500,
        2000,
        {"table": [TABLE | {"setup": "1"}, TABLE | {"file": "u.csv", "setup": "2"}]},
    )
    cells = []
    for start in (0, 2500):
        ticks = [f"{start + STEP * k:g}" for k in range(5)]
        rows = [(f"{STEP * k:g}", *(f"{height:g}" for height in z[k])) for k in range(5)]
        cells.append((("", *ticks), *rows))
    choice = chosen(checked(text, {"t.csv": cells[0], "u.csv": cells[1]}))
    assert len(choice.site.assessment.parts) == 2
    assert choice.fixes == ()
    assert "cannot show this rule" in refusal_of(choice, "nothing")


def read_again(setups: str) -> Assessment:
    """A flat floor read on a grid, five places again from other setups, one slip of 100 mm.

    The slip is in setup u.
    """
    z = rough(5, 6, 2, 0.2)
    tables = [TABLE | {"setup": "t"}]
    tables += [TABLE | {"file": f"{name}.csv", "kind": "points", "setup": name} for name in setups]
    ticks = [f"{STEP * k:g}" for k in range(6)]
    rows = [(f"{STEP * k:g}", *(f"{height:.1f}" for height in z[k])) for k in range(5)]
    cells = {"t.csv": (("", *ticks), *rows)}
    for name in setups:
        slip = {(2, 2): 100.0 if name == "u" else 0.0}
        cells[f"{name}.csv"] = (
            ("x", "y", "reading"),
            *(
                (f"{500 * k}", f"{500 * j}", f"{z[j, k] + slip.get((j, k), 0.0):.1f}")
                for j, k in ((0, 0), (4, 5), (2, 1), (0, 5), (2, 2))
            ),
        )
    return assess(checked(head(2500, 2000, {"table": tables}), cells))


def test_a_slip_that_is_set_aside_is_not_ground() -> None:
    """Where others tell which reading is wrong the floor is what they say: nothing to do."""
    assessment = read_again("uv")
    (suspect,) = assessment.adjusted.suspects
    assert suspect.observation.where.startswith("u.csv")
    choice = correct(assessment)
    checked_choice(choice)
    assert choice.fixes[0].proposal.id == "nothing"


def test_a_contradiction_is_not_ground() -> None:
    """Where two readings contradict each other and none tells which is wrong no plan passes."""
    assessment = read_again("u")
    assert len(assessment.adjusted.suspects) == 2
    choice = correct(assessment)
    checked_choice(choice)
    assert choice.fixes == ()


# What else the floor would pass


def test_instead() -> None:
    """Wider grades of the same standard are named where the floor is within them as it is."""
    z = np.zeros((5, 9))
    z[2, 4] = -4.0
    choice = chosen(slab(z))
    assert Instead("bs-8204:SR2") in choice.instead
    assert Instead("bs-8204:SR3") in choice.instead
    assert Instead("bs-8204:SR1") not in choice.instead
    for other in choice.instead:
        survey = replace(choice.site.assessment.survey, standard=other.standard)
        assert assess(survey).verdict.outcome is Outcome.WITHIN


def test_instead_is_all_there_is() -> None:
    """Each grade for floors is named if and only if the floor is judged within by it."""
    from flatcheck.rules import standards
    from flatcheck.tile import Tile

    for seed in range(3):
        choice = chosen(slab(rough(6, 8, seed, 0.9)))
        survey = choice.site.assessment.survey
        want = []
        for standard in standards().values():
            for grade in standard.grades if standard.about == "flatness" else ():
                name = f"{standard.id}:{grade.id}"
                small = replace(survey, standard=name, tile=Tile(304.8, 304.8))
                if grade.on != "wall" and assess(small).verdict.outcome is Outcome.WITHIN:
                    want.append(Instead(name))
        assert list(choice.instead) == want


def test_a_smaller_tile() -> None:
    """A long bow of 4.2 mm in 10 ft is too much for large tile only, and that is said.

    For tile under 15 in it may be 1/4 in, and 1/16 in in 12 in, of which a bow has a hundredth.
    """
    x = np.linspace(-1, 1, 41)
    tile = {"length": "24 in", "width": "24 in"}
    bow = np.repeat(4.2 * x[None] ** 2, 9, axis=0)
    choice = chosen(slab(bow, step=76.2, standard={"rule": "us-tile:bar"}, tile=tile))
    assert choice.site.assessment.verdict.outcome is Outcome.OUT
    assert Instead("us-tile:bar", small_tile=True) in choice.instead
    assert Instead("us-tile:bar") not in choice.instead


# What would turn the choice


def at_price(terms: Terms, what: str, price: float) -> Terms:
    """Terms with one price changed."""
    if what == "an hour of work":
        return replace(terms, labor=price)
    if what == GRINDER:
        return replace(terms, grinder=price)
    name = {"patch": "patch", "self-leveler": "leveler", "mortar bed": "mortar"}[
        what.removeprefix("a bag of ")
    ]
    return replace(terms, **{name: replace(getattr(terms, name), price=price)})


def money_at(choice: Choice, fix: Fix, flip: Flip) -> float:
    """What the same work costs at the price that turns the choice."""
    terms = at_price(choice.site.terms, flip.what, flip.then)
    same = {
        old.name: new
        for old, new in zip(
            (choice.site.terms.patch, choice.site.terms.leveler, choice.site.terms.mortar),
            (terms.patch, terms.leveler, terms.mortar),
            strict=True,
        )
    }
    material = fix.proposal.material
    work = replace(fix.proposal, material=same[material.name] if material else None)
    return quantities(replace(choice.site, terms=terms), work).money


def money_of_more(choice: Choice, flip: Flip, amount: float) -> float:
    """What the first remedy costs when it takes so much more, or less, of what the flip is about.

    Its depths are scaled until so much is ground, or so many bags are needed.
    """
    proposal = choice.fixes[0].proposal
    if flip.what == TO_GRIND:
        more = replace(proposal, grind_mm=proposal.grind_mm * amount / flip.now)
        return quantities(choice.site, more).money
    material, terms = proposal.material, choice.site.terms
    assert material is not None
    full = (amount - 0.5) * material.yield_l / (1 + terms.waste)  # the last bag half used
    more = replace(proposal, fill_mm=proposal.fill_mm * full / choice.fixes[0].takes.fill_l)
    takes = quantities(choice.site, more)
    assert takes.bags == amount
    return takes.money


def flipped(choice: Choice) -> None:
    """At each break-even the first remedy and the one named cost the same; beyond, that is less.

    All others cost no less there. Of a flip in whole bags one bag less does not turn it.
    """
    for flip in choice.flips:
        (other,) = [fix for fix in choice.fixes if fix.proposal.title == flip.to]
        if flip.what.startswith("bags of "):
            assert money_of_more(choice, flip, flip.then) > other.takes.money
            assert money_of_more(choice, flip, flip.then - 1) <= other.takes.money + 1e-9
            continue
        if flip.what == TO_GRIND:
            assert money_of_more(choice, flip, flip.then) == pytest.approx(other.takes.money)
            continue
        first, second = (money_at(choice, fix, flip) for fix in (choice.fixes[0], other))
        assert first == pytest.approx(second, rel=1e-9, abs=1e-9)
        assert all(money_at(choice, fix, flip) >= first - 1e-6 for fix in choice.fixes)
        beyond = replace(flip, then=flip.then + 0.01 * (flip.then - flip.now))
        if beyond.then >= 0:
            first, second = (money_at(choice, fix, beyond) for fix in (choice.fixes[0], other))
            assert second < first


@pytest.mark.parametrize("name", ["gorse-yard-humps", "withy-lane-dips", "marram-hall-waves"])
def test_flips_of_the_samples(name: str) -> None:
    """The samples' break-even prices make the first two cost the same, to a billionth."""
    assert sample(name).flips
    flipped(sample(name))


@pytest.mark.parametrize("seed", range(6))
def test_flips_of_any_floor(seed: int) -> None:
    """So do those of other floors."""
    flipped(chosen(slab(rough(5, 7, seed, 1.5), correction={"most_grind": "20 mm"})))


@pytest.mark.parametrize(
    ("name", "key"), [("gorse-yard-humps", "grinder"), ("withy-lane-dips", "patch")]
)
def test_flips_hold_when_all_is_done_again(name: str, key: str) -> None:
    """Beyond the price, put into the survey and planned anew, the second remedy comes first.

    Short of it it does not. These plans do not depend on the price that changes.
    """
    choice = sample(name)
    what = {"grinder": GRINDER, "patch": "a bag of patch"}[key]
    (flip,) = [flip for flip in choice.flips if flip.what == what]
    names = [fix.proposal.id for fix in choice.fixes[:2]]
    survey = choice.site.assessment.survey
    for shift, want in ((-1e-6, names), (1e-6, names[::-1])):
        price = flip.then + shift * math.copysign(1, flip.then - flip.now)
        terms = at_price(survey.terms, flip.what, price)
        again = correct(assess(replace(survey, terms=terms)))
        assert [fix.proposal.id for fix in again.fixes[:2]] == want


def test_no_flip_where_nothing_is_apart() -> None:
    """Where the first two cost the same no price is named that would turn them."""
    free = {"labor": 0, "grinder": 0, "primer": 0} | {
        name: {"price": 0} for name in ("patch", "leveler", "mortar")
    }
    choice = chosen(slab(rough(5, 6, 1, 2.0), correction=free))
    assert len(choice.fixes) > 1
    assert {fix.takes.money for fix in choice.fixes} == {0.0}
    assert choice.flips == ()


def test_no_flip_that_nobody_will_see() -> None:
    """Where a price would have to change more than twenty times over, it is not named."""
    z = np.zeros((5, 9))
    z[2, 4] = -4.0
    near = chosen(slab(z, correction={"most_grind": 0}))
    far = chosen(
        slab(z, correction={"most_grind": 0, "leveler": {"price": 1e6}, "mortar": {"price": 1e6}})
    )
    assert len(near.flips) == 2
    assert far.flips == ()


def test_one_fix_has_no_flip() -> None:
    """Where a single remedy passes nothing would turn it."""
    door = [{"name": "door", "at": [0, 0]}]
    z = np.zeros((5, 9))
    z[2, 4] = 6.0
    choice = chosen(slab(z, hold=door, correction={"load": "0 kg/m2", "most_grind": 9}))
    assert [fix.proposal.id for fix in choice.fixes] == ["grind"]
    assert choice.flips == ()


# Terms in the survey


def test_terms_of_the_survey_are_used(tmp_path: Path) -> None:
    """Editing the terms changes the money as the change says."""
    survey = read_folder(SAMPLES / "withy-lane-dips")
    section: dict[str, Any] = {"substrate": ["post-tensioned"], "placing": "0.3 mm", "labor": 90}
    after = correct(assess(edited(survey, {"correction": section})))
    first, dearer = sample("withy-lane-dips").fixes[0], after.fixes[0]
    assert dearer.takes.hours == pytest.approx(first.takes.hours)
    assert dearer.takes.money - first.takes.money == pytest.approx(first.takes.hours * 30)


@pytest.mark.parametrize(
    "terms",
    [
        {"patch": {"price": 1e9, "rate": 1e-9}, "labor": 0},
        {"patch": {"price": 1e9, "rate": 1e-9}, "labor": 1e9, "waste": 1e9},
        {"labor": 1e9, "grind_rate": "0.00001 l"},
        {"placing": "50 mm"},
        {"most_grind": "0.000001 mm"},
        {"patch": {"most": "0.001 mm"}},
        {"leveler": {"least": "100 mm", "most": "100 mm"}},
    ],
)
def test_odd_terms(terms: dict[str, Any]) -> None:
    """Absurd prices, rates and depths give a choice like any other, or refusals."""
    chosen(slab(rough(5, 6, 3), correction=terms))


# Marks


def test_marks() -> None:
    """Marks are where there is work to do: grinding first, each from the south and the west."""
    site = correct(assess(slab(np.zeros((3, 4))))).site
    fill, grind = np.zeros(12), np.zeros(12)
    at = {tuple(np.round(xy / STEP).astype(int)): k for k, xy in enumerate(site.floor.xy_mm)}
    fill[at[2, 0]], fill[at[1, 2]], fill[at[0, 0]] = 3.0, 2.0, MARK_MM * 0.99
    grind[at[3, 1]], grind[at[0, 1]] = 1.0, MARK_MM
    found = marks(site, Proposal("x", "X", fill, grind, None))
    assert [(mark.number, *(c / STEP for c in mark.at), mark.depth_mm) for mark in found] == [
        (1, 0, 1, -MARK_MM),
        (2, 3, 1, -1.0),
        (3, 2, 0, 3.0),
        (4, 1, 2, 2.0),
    ]


# Which one


def test_fix_named() -> None:
    """A fix is found by its remedy; the cheapest where none is named."""
    choice = sample("withy-lane-dips")
    assert fix_named(choice, None) is choice.fixes[0]
    assert fix_named(choice, "") is choice.fixes[0]
    assert fix_named(choice, "pour") is choice.fixes[1]
    with pytest.raises(SurveyError, match=r"^grind: A post-tensioned slab"):
        fix_named(choice, "grind")
    with pytest.raises(SurveyError, match="'paint' is not one of grind, least"):
        fix_named(choice, "paint")


def test_no_fix_at_all() -> None:
    """Where nothing passes there is no cheapest."""
    choice = Choice(sample("withy-lane-dips").site, (), (), (), ())
    assert fix_named(choice, None) is None


def test_remedies_are_those_in_the_folder() -> None:
    """Every file of the folder is a remedy."""
    assert {remedy.ID for remedy in remedies()} == WAYS


# Progress, and stopping


def test_progress_is_told() -> None:
    """Rounds are told by remedy: bounds only rise, and the best only falls, within a search."""
    told: list[tuple[str, int, int, float, float]] = []
    choice = correct(assess(slab(rough(7, 9, 4, 1.2))), lambda *said: told.append(said))
    assert {name for name, *_ in told} <= {"grind", "least", "patch"}
    assert {"least", "patch"} <= {name for name, *_ in told}
    (least,) = [fix for fix in choice.fixes if fix.proposal.id == "least"]
    lasts = [(low, high) for name, _, _, low, high in told if name == "least"]
    assert lasts[-1][0] == pytest.approx(least.proposal.cost)
    assert lasts[-1][1] == pytest.approx(least.proposal.cost)
    for name in ("least", "patch"):
        rounds = [(low, high) for said, _, _, low, high in told if said == name and high < math.inf]
        lows, highs = zip(*rounds, strict=True)
        assert list(lows) == sorted(lows)
        assert list(highs) == sorted(highs, reverse=True)


@pytest.mark.parametrize("after", [0, 1, 2, 3])
def test_stopped(after: int) -> None:
    """Stopped at any round, what is offered passes and is the best known, its gap told.

    What is not known to pass is refused.
    """
    assessment = assess(slab(rough(7, 9, 4, 1.2)))
    full = {fix.proposal.id: fix.proposal.cost for fix in correct(assessment).fixes}
    asked: list[int] = []

    def stop() -> bool:
        asked.append(1)
        return len(asked) > after

    choice = correct(assessment, stop=stop)
    assert asked
    for fix in choice.fixes:
        again = rejudged(choice.site, fix.proposal.fill_mm, fix.proposal.grind_mm)[1]
        assert again.outcome is Outcome.WITHIN
        if fix.proposal.id in ("grind", "least", "patch"):
            assert fix.proposal.cost >= full[fix.proposal.id] * (1 - 1e-9)
            assert fix.proposal.least_cost is not None
            assert fix.proposal.least_cost <= full[fix.proposal.id] * (1 + 1e-9)
            assert 0 <= fix.gap_ratio <= 1
    known = {fix.proposal.id for fix in choice.fixes} | {one.id for one in choice.refused}
    assert known == WAYS
    assert choice.stopped
    assert not {fix.proposal.id for fix in choice.fixes if fix.gap_ratio > 1e-6} - {
        "least",
        "patch",
    }
    why = {one.id: one.why for one in choice.refused if one.id in full}
    assert set(why.values()) <= {NOT_TRIED, UNFINISHED}
    if not after:
        assert why["least"] == why["patch"] == NOT_TRIED


def test_stopped_at_the_end() -> None:
    """Stopped when all was searched to the end, the comparison is as complete as ever."""
    assessment = assess(slab(rough(7, 9, 4, 1.2)))
    asked: list[int] = []
    count = correct(assessment, stop=lambda: bool(asked.append(1)))
    last = len(asked)
    assert not count.stopped
    asked.clear()
    choice = correct(assessment, stop=lambda: bool(asked.append(1)) or len(asked) > last - 1)
    assert not choice.stopped
    assert [fix.takes.money for fix in choice.fixes] == [fix.takes.money for fix in count.fixes]


def test_least_is_not_one_alone_before_its_end() -> None:
    """A search that was stopped claims neither that one alone is least, nor that none passes."""
    hard = slab(rough(7, 9, 4, 3.0), correction={"most_grind": "4 mm"})
    assessment = assess(hard)
    for after in range(12):
        asked: list[int] = []
        stop = lambda asked=asked, after=after: bool(asked.append(1)) or len(asked) > after  # noqa: E731
        choice = correct(assessment, stop=stop)
        for one in choice.refused:
            if one.id in ("least", "patch") and one.why not in (NOT_TRIED, UNFINISHED):
                assert "give way" in one.why


def test_a_choice_keeps_no_watcher() -> None:
    """What was told to and what stopped the search do not stay in what it found."""
    choice = correct(assess(slab(rough(4, 5, 1))), lambda *_: None, lambda: False)
    assert choice.site.progress is None
    assert choice.site.stop is None


def test_refusal_is_plain() -> None:
    """A refusal holds the remedy and its words, nothing that runs."""
    refusal = sample("withy-lane-dips").refused[0]
    assert isinstance(refusal, Refusal)
    assert refusal == Refusal(refusal.id, refusal.title, refusal.why)


def test_a_floor_in_inches() -> None:
    """A kitchen read every 6 in gets a whole correction in inches: patched, for 24 in tile.

    Grinding alone takes five times the hours and more, and a rented grinder; at the hall door
    nothing rises, so that neither leveler nor mortar bed fits under it.
    """
    choice = sample("sorrel-rise-kitchen")
    checked_choice(choice)
    assert [fix.proposal.id for fix in choice.fixes] == ["patch", "least", "grind"]
    assert choice.fixes[0].takes.bags == 1
    assert choice.fixes[2].takes.hours > 5 * choice.fixes[0].takes.hours
    for remedy in ("pour", "screed"):
        assert refusal_of(choice, remedy)
