"""The remedies: what each proposes, and in which words it refuses."""

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from slabs import STEP, head, rough, site_of, slab

from flatcheck.pour import LIFT_MM
from flatcheck.readers.folder import checked, read_folder
from flatcheck.refusal import Refusal
from flatcheck.remedies import grind, least, nothing, patch, pour, screed
from flatcheck.site import NOT_GROUND, Proposal, Site, rejudged
from flatcheck.terms import grind_cost, unit_cost
from flatcheck.units import KG_PER_POUND, MM_PER_INCH
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
REMEDIES = (grind, least, nothing, patch, pour, screed)

HUMP = np.zeros((5, 9))
HUMP[2, 4] = 6.0
"""A hump of 6 mm on one reading: 3 mm under a bar laid beside it is not kept."""

DIP = -HUMP


def offered(remedy: Any, site: Site) -> Proposal:
    """What a remedy proposes, and that it is within when judged again."""
    found = remedy.propose(site)
    assert isinstance(found, Proposal), found
    assert found.id == remedy.ID
    assert np.all(found.fill_mm >= 0)
    assert np.all(found.grind_mm >= 0)
    assert rejudged(site, found.fill_mm, found.grind_mm)[1].outcome is Outcome.WITHIN
    return found


def refusal(remedy: Any, site: Site) -> str:
    """Why a remedy does not apply: a sentence."""
    found = remedy.propose(site)
    assert isinstance(found, Refusal)
    assert (found.id, found.title) == (remedy.ID, remedy.TITLE)
    assert found.why.endswith(".")
    return found.why


# Grind, patch, both


def hump_and_dip(**terms: Any) -> Site:
    """A hump and a dip of 6 mm farther apart than a bar is long, where grinding is cheap."""
    z = np.zeros((5, 12))
    z[2, 2], z[2, 9] = 6.0, -6.0
    cheap = {"placing": 0, "most_grind": "10 mm", "grind_rate": "10 l/h"}
    return site_of(slab(z, correction=cheap | terms))


def test_grind_takes_the_hump() -> None:
    """A lone hump is ground at its one place, down to what the rule leaves, and nothing else.

    Under a bar that rests on it and on the floor a place between is lower by up to 3/4 of it; of a
    hump of h at one reading in steps of 500 mm, over 2 m, the largest gap is h times 3/4.
    """
    site = site_of(slab(HUMP, correction={"placing": 0, "most_grind": "10 mm"}))
    found = offered(grind, site)
    worked = np.flatnonzero(found.grind_mm)
    assert worked.tolist() == [int(np.argmax(site.floor.height_mm))]
    left = 6.0 - found.grind_mm.max()
    assert 3 / 4 * left < 3.0
    assert 3 / 4 * left > 3.0 - 1.645 * 0.2 - 0.02
    assert found.material is None
    assert found.least_cost == pytest.approx(found.cost)
    assert found.cost == pytest.approx(grind_cost(site.terms) * (site.area_mm2 @ found.grind_mm))


def test_patch_fills_the_dip() -> None:
    """A lone dip is filled at its one place."""
    site = site_of(slab(DIP, correction={"placing": 0}))
    found = offered(patch, site)
    assert np.flatnonzero(found.fill_mm).tolist() == [int(np.argmin(site.floor.height_mm))]
    assert not found.grind_mm.any()
    assert found.material is site.terms.patch
    price = unit_cost(site.terms.patch, site.terms)
    assert found.cost == pytest.approx(price * (site.area_mm2 @ found.fill_mm))


def test_both_at_once() -> None:
    """With a hump and a dip that stand apart, the two together grind one and fill the other."""
    site = hump_and_dip()
    both, alone = offered(least, site), offered(patch, site)
    assert np.flatnonzero(both.grind_mm).tolist() == [int(np.argmax(site.floor.height_mm))]
    assert np.flatnonzero(both.fill_mm).tolist() == [int(np.argmin(site.floor.height_mm))]
    assert both.cost < alone.cost


def test_free_work_is_not_done_without_need() -> None:
    """Where all work is free the same places are worked on, and no more than will do."""
    free = hump_and_dip(labor=0, patch={"price": 0})
    both, dear = offered(least, free), offered(least, hump_and_dip())
    assert both.grind_mm == pytest.approx(dear.grind_mm, abs=1e-6)
    assert both.fill_mm == pytest.approx(dear.fill_mm, abs=1e-6)


def test_both_is_one_alone() -> None:
    """Where the least work only fills, or only grinds, the two together are not another remedy."""
    dip = site_of(slab(DIP, correction={"placing": 0}))
    assert refusal(least, dip) == "The least work is patching alone."
    cheap = {"placing": 0, "most_grind": "10 mm", "grind_rate": "10 l/h"}
    hump = site_of(slab(HUMP, correction=cheap))
    assert refusal(least, hump) == "The least work is grinding alone."


@pytest.mark.parametrize("kind", NOT_GROUND)
def test_a_floor_that_is_not_ground(kind: str) -> None:
    """What must not be ground is not, in words that say why; the fill alone is left."""
    site = site_of(slab(HUMP, correction={"substrate": ["concrete", kind]}))
    assert refusal(grind, site) == f"{NOT_GROUND[kind]}."
    assert refusal(least, site).startswith(NOT_GROUND[kind])
    assert not offered(patch, site).grind_mm.any()
    assert not offered(pour, site).grind_mm.any()


def test_too_little_grinding() -> None:
    """Where not enough may be ground the refusal names the rule, the place and how much it lacks.

    Of 6 mm only 1 mm may go: a gap of 3/4 of 5 mm is too much by 0.8 mm and the reading error.
    """
    site = site_of(slab(HUMP, correction={"placing": 0, "most_grind": "1 mm"}))
    said = refusal(grind, site)
    assert "No gap over 3 mm under a 2 m straightedge" in said
    assert "what may be ground (1.00 m from the" in said
    assert "would have to give way by" in said


def test_a_height_that_must_not_change_stays() -> None:
    """With the hump at a door it is not touched: the floor around it is worked on instead."""
    door = [{"name": "door", "at": [4 * STEP, 2 * STEP]}]
    site = site_of(slab(HUMP, hold=door, correction={"placing": 0, "most_grind": "10 mm"}))
    at = int(np.argmax(site.floor.height_mm))
    for remedy in (grind, patch):
        found = offered(remedy, site)
        assert found.fill_mm[at] == found.grind_mm[at] == 0


def test_patch_that_does_not_feather() -> None:
    """Where it would be thinner than a material may be it is refused; all thick enough, offered."""
    terms = {"placing": 0, "patch": {"least": "5 mm"}}
    thin = site_of(slab(DIP, correction=terms))
    deep = site_of(slab(2 * DIP, correction=terms))
    assert "at least 5.0 mm thick; take one that feathers" in refusal(patch, thin)
    assert offered(patch, deep).fill_mm.max() > 5
    offered(pour, thin)
    assert "take one that feathers" in refusal(least, hump_and_dip(patch={"least": "5 mm"}))


@pytest.mark.parametrize(("most", "too_much"), [("0.5 kg/m2", True), ("14 kg/m2", False)])
def test_load(most: str, too_much: bool) -> None:
    """More than what was said to be what the floor may take is refused, at the thickest place."""
    for remedy, site in (
        (patch, site_of(slab(DIP, correction={"load": most, "placing": 0}))),
        (least, hump_and_dip(load=most)),
    ):
        if too_much:
            assert "was said to be what the floor may take" in refusal(remedy, site)
        else:
            found = offered(remedy, site)
            assert found.fill_mm.max() * site.terms.patch.wet_kg_l <= 14


def test_load_of_a_bed() -> None:
    """An inch and a quarter of mortar is 15 lb/ft2: 14 refuse it, and 16 bear it."""
    for pounds, words in ((14, "weighs"), (16, "")):
        site = site_of(
            slab(np.zeros((4, 5)), correction={"substrate": "wood", "load": f"{pounds} lb/ft2"})
        )
        found = screed.propose(site)
        assert isinstance(found, Refusal if words else Proposal)
        thick = 1.25 * MM_PER_INCH
        weight = thick * site.terms.mortar.wet_kg_l / KG_PER_POUND * 0.3048**2
        assert weight == pytest.approx(15)


# Pour


def by_scan(site: Site) -> tuple[float, float] | None:
    """The level that costs least of all that could matter, tried one by one, and its cost."""
    terms, z = site.terms, site.floor.height_mm
    material = terms.leveler
    fill, grinding = unit_cost(material, terms), grind_cost(terms)
    levels = np.concatenate((z + material.least_mm, z - site.most_grind_mm + material.least_mm))
    ends = [z.min() + material.most_mm * pour.MOST_LIFTS]
    ends += [float(z[stations].min()) + rise for stations, rise in site.held]
    levels = np.concatenate((levels, ends))
    best = None
    for level in np.concatenate((levels, np.arange(levels.min(), levels.max() + 20, 0.37))):
        ground = np.maximum(z - (level - material.least_mm), 0)
        thick = level - z + ground
        ok = np.all(ground <= site.most_grind_mm + 1e-9)
        ok &= thick.max() <= material.most_mm * pour.MOST_LIFTS + 1e-9
        for stations, rise in site.held:
            ok &= bool(np.all(level <= z[stations] + rise + 1e-9))
        cost = float(site.area_mm2 @ (fill * thick + grinding * ground))
        if ok and (best is None or cost < best[1]):
            best = (float(level), cost)
    return best


@pytest.mark.parametrize("seed", range(8))
def test_pour_is_the_cheapest_level(seed: int) -> None:
    """No level that was tried costs less than the one that is poured to."""
    dear = {"grind_rate": "0.05 l/h"} if seed % 2 else {}
    hold = [{"name": "door", "at": [0, 0], "rise": "12 mm"}] if seed > 3 else []
    site = site_of(slab(rough(5, 6, seed, 2.0), hold=hold, correction=dear))
    found, want = pour.propose(site), by_scan(site)
    if want is None:
        assert isinstance(found, Refusal)
        return
    assert isinstance(found, Proposal)
    assert found.cost == pytest.approx(want[1], rel=1e-9)
    ((_, level),) = found.levels
    assert level == pytest.approx(want[0], abs=1e-6)
    assert site.floor.height_mm + found.fill_mm - found.grind_mm == pytest.approx(level)
    assert found.fill_mm.min() >= site.terms.leveler.least_mm - 1e-9
    assert found.dams == len(hold)
    assert (found.lifts - 1) * site.terms.leveler.most_mm <= found.fill_mm.max() + LIFT_MM


def test_free_pour_is_the_least_work() -> None:
    """Where all is free no level takes less, ground and poured together, than what is poured to."""
    free = {"labor": 0, "leveler": {"price": 0}, "most_grind": "30 mm"}
    site = site_of(slab(rough(5, 6, 1, 2.0), correction=free))
    found, z = offered(pour, site), site.floor.height_mm
    takes = site.area_mm2 @ (found.fill_mm + found.grind_mm)
    for level in np.append(z, z + 0.1) + site.terms.leveler.least_mm:
        ground = np.maximum(z - (level - site.terms.leveler.least_mm), 0)
        assert takes <= site.area_mm2 @ (level - z + 2 * ground) + 1e-3


def test_lifts_of_a_deep_pour() -> None:
    """A pool of 60 mm under a least of 1/8 in takes three lifts of an inch."""
    z = np.zeros((4, 5))
    z[1, 1] = -60.0
    site = site_of(slab(z, correction={"substrate": "heated"}))
    assert offered(pour, site).lifts == 3


@pytest.mark.parametrize("rise", [0, "3 mm"])
def test_no_room_for_a_pour(rise: Any) -> None:
    """At a door that cannot rise by the least thickness nothing is poured; by 1/8 in it is."""
    door = [{"name": "door", "at": [0, 0], "rise": rise}]
    said = refusal(pour, site_of(slab(DIP, hold=door)))
    assert "The leveler must be 3.2 mm thick" in said
    assert "the height of 'door' leaves " in said
    door = [{"name": "door", "at": [0, 0], "rise": "1/8 in"}]
    assert offered(pour, site_of(slab(DIP, hold=door))).dams == 1


def test_too_deep_for_a_pour() -> None:
    """More than three lifts is refused."""
    z = np.zeros((4, 5))
    z[1, 1] = -80.0
    assert "3 lifts over the lowest place end 7 mm too low" in refusal(
        pour, site_of(slab(z, correction={"substrate": "heated"}))
    )


FALLS = {"kind": "fall", "fall": "2 %", "toward": "west"}
RAMP = np.repeat(10.0 * np.arange(5)[None], 4, axis=0)


def test_a_leveler_makes_no_falls() -> None:
    """Where any zone is meant to fall, nothing is poured."""
    site = site_of(slab(RAMP, intent=FALLS))
    assert refusal(pour, site) == "A self-leveler finds its own level and makes no falls."


KEEP = {"name": "hatch", "outline": [[400, 400], [600, 400], [600, 600], [400, 600]]}


@pytest.mark.parametrize("remedy", [pour, screed])
def test_a_part_that_is_not_filled(remedy: Any) -> None:
    """What covers all is refused where a part may not be filled, and not where it may."""
    assert "may not be filled" in refusal(remedy, site_of(slab(DIP, keep=[KEEP])))
    offered(remedy, site_of(slab(DIP, keep=[KEEP | {"fill": True}])))


def bars_only() -> Site:
    """A survey of gaps under a bar alone: how the floor lies to the level is left open."""
    rows = [("bar", "x1", "y1", "toward", "length", "at", "gap")]
    for k in range(9):
        for way, at in (("east", ("0", f"{250 * k}")), ("north", (f"{250 * k}", "0"))):
            gaps = ["0" if step in (0, 8) else "0.5" for step in range(9)]
            rows += [
                (f"{way}{k}", *at, way, "2000", f"{250 * step}", gap)
                for step, gap in enumerate(gaps)
            ]
    table = {"file": "t.csv", "kind": "gaps"}
    text = head(2000, 2000, {"table": [table]})
    return site_of(checked(text, {"t.csv": tuple(rows)}))


@pytest.mark.parametrize("remedy", [pour, screed])
def test_nothing_is_laid_level_on_gaps(remedy: Any) -> None:
    """Readings of gaps alone do not tell how thick a level bed would be."""
    assert "read heights with a level or a laser" in refusal(remedy, bars_only())


# Screed


def test_screed_to_level() -> None:
    """Over a level floor the bed is level, as thick as it must be over the highest place."""
    site = site_of(slab(rough(4, 5, 2)))
    found = offered(screed, site)
    top = site.floor.height_mm + found.fill_mm
    assert top == pytest.approx(site.floor.height_mm.max() + 1.25 * MM_PER_INCH)
    price = unit_cost(site.terms.mortar, site.terms)
    assert found.cost == pytest.approx(price * (site.area_mm2 @ found.fill_mm))


def test_screed_too_thick() -> None:
    """A bed that would be thicker than it may be is refused with both numbers."""
    z = np.zeros((4, 5))
    z[0, 0] = -40
    said = refusal(screed, site_of(slab(z)))
    assert "71.8 mm over the lowest, and 50.8 mm is the most" in said


def test_screed_and_a_door() -> None:
    """A bed that ends above a door is refused by how much; a door that may rise is none."""
    door = [{"name": "door", "at": [0, 0], "rise": "10 mm"}]
    assert "ends 21.8 mm too high for 'door'" in refusal(screed, site_of(slab(0 * DIP, hold=door)))
    offered(screed, site_of(slab(0 * DIP, hold=[door[0] | {"rise": "32 mm"}])))


WET = {"rule": "none", "falls": ["bs-falls"]}


def falling(z: Floats, **sections: Any) -> Site:
    """A floor that falls to the west by 2 %, as asked, read every 250 mm."""
    return site_of(slab(z, step=250, intent=FALLS, standard=WET, **sections))


def test_screed_to_falls() -> None:
    """Over a floor that is to fall the bed falls, and is as thick as it must be at its thinnest."""
    site = falling(np.zeros((7, 9)))
    found = offered(screed, site)
    top = site.floor.height_mm + found.fill_mm
    assert top - 0.02 * site.floor.xy_mm[:, 0] == pytest.approx(top.min())
    assert found.fill_mm.min() == pytest.approx(1.25 * MM_PER_INCH, abs=0.5)


def test_screed_beside_a_level_zone() -> None:
    """A door in a zone that stays level does not stand in the way of the falls of another."""
    zones = [
        {"name": "wet", "outline": [[0, 0], [1000, 0], [1000, 1500], [0, 1500]], "intent": FALLS},
        {"name": "dry", "outline": [[1000, 0], [2000, 0], [2000, 1500], [1000, 1500]]},
    ]
    door = [{"name": "door", "at": [2000, 0], "rise": "60 mm"}]
    deep = {"mortar": {"most": "60 mm"}}
    site = site_of(
        slab(np.zeros((7, 9)), step=250, zone=zones, hold=door, standard=WET, correction=deep)
    )
    found = offered(screed, site)
    wet, dry = (part.stations for part in site.assessment.parts)
    assert np.ptp(found.fill_mm[dry]) == pytest.approx(0)
    assert np.ptp(found.fill_mm[wet]) == pytest.approx(0.02 * 1000)
    assert found.fill_mm[dry].max() == pytest.approx(found.fill_mm[wet].max())


def test_falls_left_to_the_rule_are_made_surely() -> None:
    """A bed screeded to just the least fall is too close to call, so a little more is offered."""
    site = site_of(read_folder(SAMPLES / "linden-weir-wet-room"))
    found = offered(screed, site)
    just = screed._bed(site, 1.0)
    assert not isinstance(just, str)
    assert rejudged(site, just, 0 * just)[1].outcome is Outcome.CLOSE
    (shower,) = [part for part in site.assessment.parts if part.name == "shower"]
    bed = shower.stations[found.fill_mm[shower.stations] > 0]
    north = site.floor.xy_mm[bed, 1]
    fell, falls = (
        np.ptp(np.polyval(np.polyfit(north, (site.floor.height_mm + fill)[bed], 1), north))
        for fill in (just, found.fill_mm)
    )
    assert fell == pytest.approx(np.ptp(north) / 80, rel=0.01)  # its upper edge is the level zone
    assert falls > 1.04 * fell


# Nothing


def test_nothing() -> None:
    """Leaving it is offered where the floor is within, and refused in words where it is not."""
    found = offered(nothing, site_of(slab(0 * HUMP)))
    assert not (found.fill_mm + found.grind_mm).any()
    assert refusal(nothing, site_of(slab(HUMP))) == "As it is the floor is out."


@pytest.mark.parametrize("remedy", REMEDIES, ids=lambda remedy: remedy.ID)
def test_every_remedy_has_its_names(remedy: Any) -> None:
    """A remedy is called by the name of its file, and has a title that starts a sentence."""
    assert remedy.__name__.split(".")[-1] == remedy.ID
    assert remedy.TITLE[0].isupper()
    assert not remedy.TITLE.endswith(".")


def test_a_refusal_names_the_zone_within_its_sentence() -> None:
    """Where there are several zones a refusal begins with a capital and names the zone."""
    door = [{"name": "door", "at": [0, 0], "rise": 0}]
    halves = [
        {
            "name": name,
            "outline": [[x, 0], [x + 1000, 0], [x + 1000, 1000], [x, 1000]],
            "apart": True,
        }
        for name, x in (("den", 0), ("hall", 1000))
    ]
    site = site_of(slab(np.zeros((3, 5)), hold=door, zone=halves))
    for remedy, words in ((pour, "the leveler must be"), (screed, "a bed ")):
        assert refusal(remedy, site).startswith(f"In 'den' {words}")


def test_a_dam_between_zones() -> None:
    """Zones apart, side by side, are poured behind a dam; zones that meet at a corner are not.

    Zones that do not stand apart are one pour.
    """
    zones = {
        "den": [[0, 0], [1000, 0], [1000, 1000], [0, 1000]],
        "hall": [[1000, 0], [2000, 0], [2000, 1000], [1000, 1000]],
        "bath": [[0, 1000], [1000, 1000], [1000, 2000], [0, 2000]],
        "shop": [[1000, 1000], [2000, 1000], [2000, 2000], [1000, 2000]],
    }
    given = [{"name": name, "outline": outline} for name, outline in zones.items()]
    apart = [zone | {"apart": True} for zone in given]
    assert offered(pour, site_of(slab(np.zeros((5, 5)), zone=apart))).dams == 4
    one = offered(pour, site_of(slab(np.zeros((5, 5)), zone=given)))
    assert one.dams == 0
    assert len(one.levels) == 1
    assert offered(pour, site_of(slab(np.zeros((5, 5))))).dams == 0
