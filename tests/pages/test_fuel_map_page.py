"""The fuel map's page and a hold's page, as people open them."""

import re

from tests.api.held_files import held_power_w, steps_csv
from tests.api.pull_files import Steady, filed

LEAN_RICH = steps_csv((60.0, 90.0, 40.0, 0.972, 50.0), (80.0, 180.0, 80.0, 0.855, 90.0))
EDGES = "speed_edges=2000,3000,4000&load_edges=40,60,100&lag_s=0"


def opened(client, path):
    answer = client.get(path)
    assert answer.status_code == 200, answer.text[:400]
    return answer.text


def test_the_page_says_lean_cells_first_and_whose_responsibility_a_change_is(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    text = opened(tuner, f"/fuel-map?setup_id={house.setup_id}&{EDGES}")
    assert text.index("Lean cells first") < text.index("Leaner than wanted") < text.index('class="heat"')
    assert "responsibility" in text
    lean = text[text.index("Leaner than wanted") : text.index("</ul>", text.index("Leaner than wanted"))]
    assert lean.count("<li>") == 1
    assert "fuel × 1.080" in lean


def test_the_number_in_a_cell_is_chosen_by_the_address(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    base = f"/fuel-map?setup_id={house.setup_id}&{EDGES}"
    drawn = {show: opened(tuner, f"{base}&show={show}") for show in ("multiplier", "lambda_error", "time")}
    for show, number in (("multiplier", "1.080"), ("lambda_error", "+0.072"), ("time", "10.0")):
        assert f'class="heat-number">{number}</text>' in drawn[show], show
        assert re.search(rf'value="{show}" checked', drawn[show])


def test_what_was_typed_stays_and_what_will_not_do_is_said_beside_the_map(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    for wrong, said in (
        ("speed_edges=3000,2000", "rising"),
        ("minimum_time_s=soon", "0 to 600"),
        ("lag_s=9", "0 to 5"),
    ):
        text = opened(tuner, f"/fuel-map?setup_id={house.setup_id}&{wrong}")
        assert said in text
        assert f'value="{wrong.partition("=")[2]}"' in text
        assert 'class="heat"' not in text


def test_a_setup_without_pulls_says_what_to_do(desk, house):
    text = opened(desk, f"/fuel-map?setup_id={house.setup_id}")
    assert "Nothing to map yet" in text
    assert "part-throttle" in text
    assert desk.get("/fuel-map?setup_id=0123456789abc").status_code == 404


def test_without_a_setup_the_page_says_what_it_needs(desk):
    assert "needs a setup" in opened(desk, "/fuel-map")


def test_the_csv_is_the_same_map(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    page = opened(tuner, f"/fuel-map?setup_id={house.setup_id}&{EDGES}")
    address = re.search(r'href="(/fuel-map\.csv[^"]+)"', page).group(1).replace("&amp;", "&")
    answer = tuner.get(address)
    assert answer.headers["content-type"].startswith("text/csv")
    assert "1.08" in answer.text
    assert "0 s for every pull" in answer.text


def test_only_who_may_tune_is_offered_to_save_the_cells(tuner, desk, house):
    filed(tuner, house, LEAN_RICH, kind="part_throttle")
    path = f"/fuel-map?setup_id={house.setup_id}"
    assert 'id="save-layout"' in opened(tuner, path)
    assert 'id="save-layout"' not in opened(desk, path)


def test_a_holds_page_shows_its_plateaus_instead_of_saying_that_it_has_no_curve(tuner, house):
    filed(tuner, house, Steady().csv(), file_name="sweep.csv")
    data = steps_csv((60.0, 180.0, 100.0, 0.92, 98.0), (80.0, 150.0, 100.0, 0.88, 97.0))
    pull = filed(tuner, house, data, kind="hold")
    text = opened(tuner, f"/pulls/{pull['id']}?standard=observed")
    assert "No curve" not in text
    assert "only a sweep has a curve" not in text
    for speed, brake in ((60.0, 180.0), (80.0, 150.0)):
        assert f"<strong>{held_power_w(speed, brake) / 1000.0:.1f}\u00a0kW</strong>" in text
    assert "mean of 1" in text
    assert f'href="/fuel-map?setup_id={house.setup_id}"' in text


def test_a_sweeps_page_has_no_holds(tuner, house):
    pull = filed(tuner, house, Steady().csv())
    assert 'id="holds-heading"' not in opened(tuner, f"/pulls/{pull['id']}")


def test_the_ticket_offers_every_kind_and_leads_to_plateaus_and_map(tuner, house):
    filed(tuner, house, LEAN_RICH, kind="hold")
    text = opened(tuner, f"/tickets/{house.ticket_id}")
    for kind in ("sweep", "hold", "coast_down", "part_throttle"):
        assert f'<option value="{kind}">' in text
    assert "its plateaus" in text
    assert f'href="/fuel-map?setup_id={house.setup_id}"' in text
