"""Steps across joints in a real browser: a joint is pressed on the drawing, its step is kept."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser.conftest import Screen
from browser.test_page import drawn_anew, fits, photograph, point_at, press

from flatcheck.readers.folder import folder_files, survey_of
from flatcheck.steps import on_joints
from flatcheck.store import Store
from flatcheck.tables import steps_of
from flatcheck.tiling import laid

SHOP = folder_files(Path(__file__).parents[2] / "sample_surveys" / "quillet-lane-steps")
JOINT = 40
"""A joint that was not read, by its place in the drawing."""


@pytest.fixture
def floor(
    start: Any, screens: dict[str, Screen], device: str, tmp_path: Path
) -> Iterator[tuple[Any, Store, str]]:
    """The page with a finished floor of one's own, and the store it is kept in."""
    process, port = start(tmp_path)
    store = Store(tmp_path / "kept")
    key = store.create(SHOP, "", "begun")
    page = screens[device].context.new_page()
    page.goto(f"http://127.0.0.1:{port}/?survey={key}&step=tile")
    page.locator(".st-key-joints [data-layer=joints] path").wait_for(state="attached")
    yield page, store, key
    page.close()
    process.terminate()
    process.wait(timeout=20)


def test_a_step_is_entered_on_the_drawing(
    floor: tuple[Any, Store, str], device: str, shots: Path
) -> None:
    """Pressing a joint on the drawing chooses it, and the step typed there is kept on it."""
    page, store, key = floor
    assert "60 steps read: 55 within, 5 out" in page.content()

    def choose() -> None:
        point_at(page, JOINT, "joints", "joints")
        if device == "desk":
            page.mouse.down()
            page.mouse.up()

    drawn_anew(page, choose)
    assert page.locator("input[aria-label=Joint]").input_value() == str(JOINT + 1)
    page.get_by_label("Step", exact=True).fill("1/8 in")
    press(page, page.get_by_role("button", name="Keep this step"))
    page.get_by_text("61 steps read: 55 within, 6 out").wait_for()
    survey = survey_of(store.head(key).files)
    assert survey.room is not None
    step = steps_of(survey)[-1]
    assert on_joints(laid(survey, survey.room), [step]).tolist() == [JOINT]
    assert fits(page)
    photograph(page, shots / f"joints-{device}.png")
