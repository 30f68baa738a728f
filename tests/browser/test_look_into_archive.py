"""Looking into the archive: what is in sight says what it gave, also when nobody asked for figures."""

from typing import Any

from tests.api.pull_files import Steady, filed


def test_figures_of_the_pulls_in_sight_are_read_by_themselves(page_as: Any, tuner: Any, house: Any) -> None:
    filed(tuner, house, Steady().csv())
    assert "figures not read yet" in tuner.get("/archive").text
    page = page_as("tuner")
    page.goto("/archive")
    page.wait_for_selector(".found-pulls >> text=about")
    assert page.locator("#archive-found[data-some-due]").count() == 0
    assert "figures not read yet" not in page.inner_text("#archive-found")


def test_who_may_only_read_has_nothing_read_and_no_complaint(page_as: Any, tuner: Any, house: Any) -> None:
    filed(tuner, house, Steady().csv())
    page = page_as("read_only")
    page.goto("/archive")
    page.wait_for_load_state("networkidle")
    assert "figures not read yet" in page.inner_text("#archive-found")
    assert page.complaints == []
