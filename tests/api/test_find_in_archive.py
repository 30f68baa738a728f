"""Finding pulls in the archive: by any word on record, by figures, dates and flags, a page at a time."""

from datetime import timedelta

import pytest

from tests.api.pull_files import Steady, filed
from tests.furnishing import START, made

TURBO = {
    "make": "Brackwell",
    "model": "Ember",
    "model_year": 2021,
    "plate": "KA-77 ZZ",
    "vin": "GXB4RTY50MA123456",
    "engine": "TFX-4 turbo",
    "displacement_l": 2.0,
    "aspiration": "turbo",
    "engine_turns_per_roller_turn": 5.2,
}


def _found(client, **asked):
    answer = client.get("/api/v1/archive", params=asked)
    assert answer.status_code == 200, answer.text
    return answer.json()


def _ids(client, **asked):
    return [one["pull_id"] for one in _found(client, **asked)["items"]]


def _read_figures(client):
    while client.post("/api/v1/archive/figures").json()["due"]:
        pass


def _at(minutes):
    return (START - timedelta(minutes=minutes)).isoformat()


def _second_car(client, house):
    """Another customer's car on a ticket of its own; the ticket's id and its baseline's."""
    customer = made(client.post("/api/v1/customers", json={"full_name": "Óscar Brambilla", "phone": "+43 660 1234567"}))
    vehicle = made(client.post("/api/v1/vehicles", json={"customer_id": customer["id"], **TURBO}))
    asked = {"customer_id": customer["id"], "vehicle_id": vehicle["id"], "asked": "Charge pipe, then a map"}
    ticket = made(client.post("/api/v1/tickets", json=asked))
    setup = made(client.post(f"/api/v1/tickets/{ticket['id']}/setups", json={"name": "As it came"}))
    return ticket, setup


@pytest.fixture
def two_cars(tuner, house):
    """A pull of each setup of the house's ticket, and a stronger one of another car. Their ids, oldest first."""
    weak = filed(tuner, house, Steady().csv(), taken_at=_at(30))
    part = filed(tuner, house, Steady(seconds=7).csv(), taken_at=_at(20), setup_id=house.second_setup_id)
    ticket, setup = _second_car(tuner, house)
    told = {"ticket_id": ticket["id"], "setup_id": setup["id"], "taken_at": _at(10)}
    strong = filed(tuner, house, Steady(gain_rad_s2=14.0).csv(), **told)
    assert tuner.patch(f"/api/v1/pulls/{strong['id']}", json={"version": 1, "notes": "Second fan on"}).is_success
    return weak["id"], part["id"], strong["id"]


def test_an_empty_archive_answers_no_pulls_and_counts_none(owner):
    told = _found(owner)
    assert (told["items"], told["next"], told["counted"]["pulls"]) == ([], None, 0)


def test_without_a_question_the_latest_pull_comes_first(two_cars, tuner):
    assert _ids(tuner) == list(reversed(two_cars))


@pytest.mark.parametrize(
    "typed",
    [
        "oscar", "BRAMB", "brambilla óscar", "ka 77 zz", "KA-77", "ka77z", "6601234567", "660 123", "50MA1234", "ember",
        "brackwell 2021", "tfx4", "TFX-4", "charge pipe", "second fan", "came", "as it came",
        "it came brambilla", "as came", "#2", "k", "br", "os",
    ],
)  # fmt: skip
def test_it_finds_by_any_word_on_record_however_it_is_typed(two_cars, tuner, typed):
    assert _ids(tuner, find=typed) == [two_cars[2]], typed


@pytest.mark.parametrize("typed", ["oscar ilse", "%", "zzzz", "#9", "scar brambillaa", "'; --", '"', "x" * 200])
def test_what_does_not_all_stand_in_one_job_finds_nothing(two_cars, tuner, typed):
    assert _ids(tuner, find=typed) == []


def test_a_part_named_in_a_setup_finds_that_setups_pulls_alone(two_cars, tuner):
    assert _ids(tuner, find="wide intake") == [two_cars[1]]
    assert _ids(tuner, find="wide intake marchetti") == [two_cars[1]]
    assert _ids(tuner, find="wide brambilla") == []


def test_a_note_that_reads_like_another_setup_still_finds_its_pull(two_cars, tuner):
    assert tuner.patch(f"/api/v1/pulls/{two_cars[0]}", json={"version": 1, "notes": "Wide intake"}).is_success
    assert set(_ids(tuner, find="wide intake")) == {two_cars[0], two_cars[1]}


def test_figures_find_by_their_range_once_they_are_read(two_cars, tuner):
    assert _found(tuner, power_from_w=1)["due"] == 3
    _read_figures(tuner)
    told = _found(tuner)["items"]
    powers = {one["pull_id"]: one["about_power_w"] for one in told}
    middle = (powers[two_cars[0]] + powers[two_cars[2]]) / 2
    assert _ids(tuner, power_from_w=middle) == [two_cars[2]]
    assert set(_ids(tuner, power_to_w=middle)) == {two_cars[0], two_cars[1]}
    assert _ids(tuner, power_from_w=middle, find="ilse") == []
    torques = {one["pull_id"]: one["about_torque_nm"] for one in told}
    middle = (torques[two_cars[0]] + torques[two_cars[2]]) / 2
    assert _ids(tuner, torque_from_nm=middle) == [two_cars[2]]


def test_a_figure_that_finds_is_rounded_and_the_curve_is_the_result(two_cars, tuner):
    _read_figures(tuner)
    told = _found(tuner)["items"][0]
    curve = tuner.get(f"/api/v1/pulls/{two_cars[2]}/curve").json()
    assert told["about_power_w"] % 1000 == 0
    assert told["about_power_w"] == pytest.approx(curve["headline"]["peak_power_w"]["value"], abs=500)


def test_make_model_year_cell_kind_and_day_narrow_it(two_cars, tuner, house):
    assert _ids(tuner, make="brackwell") == [two_cars[2]]
    assert _ids(tuner, make="Brackwell", model="Stilt 2.0") == []
    assert _ids(tuner, model_year=2019) == [two_cars[1], two_cars[0]]
    assert len(_ids(tuner, cell_id=house.cell_id, kind="sweep")) == 3
    assert _ids(tuner, kind="hold") == _ids(tuner, cell_id="nowhere") == _ids(tuner, make="None such") == []
    assert len(_ids(tuner, taken_from="2026-03-10", taken_to="2026-03-10")) == 3
    assert _ids(tuner, taken_to="2026-03-09") == _ids(tuner, taken_from="2026-03-11") == []
    assert _ids(tuner, find="brambilla", make="Corvane") == []


def test_flags_find_what_carried_them(two_cars, tuner):
    tuner.post(f"/api/v1/pulls/{two_cars[0]}/set-aside", json={"reason": "Wheel slip"})
    _read_figures(tuner)
    assert _ids(tuner, flag="set_aside") == _ids(tuner, set_aside="true") == [two_cars[0]]
    assert _ids(tuner, set_aside="false") == [two_cars[2], two_cars[1]]
    assert _ids(tuner, flag="set_aside", find="ilse") == [two_cars[0]]
    assert _ids(tuner, flag="no_such_flag") == []


def test_pages_follow_by_their_key_with_and_without_words(two_cars, tuner):
    for asked in ({}, {"find": "2"}, {"cell_id": _found(tuner)["items"][0]["pull_id"]}, {"find": "corvane"}):
        whole, one_by_one, cursor = _ids(tuner, **asked), [], None
        while True:
            page = _found(tuner, **asked, limit=1, **({"cursor": cursor} if cursor else {}))
            one_by_one += [one["pull_id"] for one in page["items"]]
            cursor = page["next"]
            if cursor is None:
                break
        assert one_by_one == whole
    refused = tuner.get("/api/v1/archive", params={"cursor": "0123456789abc"})
    assert (refused.status_code, refused.json()["problems"][0]["field"]) == (422, "cursor")


def test_counts_by_make_and_year_stand_beside_the_first_page(two_cars, tuner):
    counted = _found(tuner)["counted"]
    assert counted["makes"] == [{"make": "Corvane", "pulls": 2}, {"make": "Brackwell", "pulls": 1}]
    assert counted["model_years"] == [{"model_year": 2021, "pulls": 1}, {"model_year": 2019, "pulls": 2}]
    assert (counted["pulls"], counted["more"]) == (3, False)


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"power_from_w": 9, "power_to_w": 8}, "power_to"),
        ({"taken_from": "2026-03-10", "taken_to": "2026-03-09"}, "taken_to"),
        ({"taken_from": "1700-01-01"}, "taken"),
        ({"torque_from_nm": "nan"}, "torque_from_nm"),
        ({"kind": "burnout"}, "kind"),
    ],
)
def test_a_question_that_cannot_be_meant_is_refused_by_its_field(owner, asked, field):
    answer = owner.get("/api/v1/archive", params=asked)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["field"] == field


def test_cars_like_it_are_those_of_its_model_or_engine_in_air_like_its_own(two_cars, tuner, house):
    _read_figures(tuner)
    like = tuner.get(f"/api/v1/pulls/{two_cars[0]}/like").json()
    assert (like["by"], [one["pull_id"] for one in like["pulls"]]) == ("model_or_engine", [two_cars[1]])
    alone = tuner.get(f"/api/v1/pulls/{two_cars[2]}/like").json()
    assert (alone["by"], alone["pulls"]) == ("nothing", [])
    assert tuner.get("/api/v1/pulls/0123456789abc/like").status_code == 404
