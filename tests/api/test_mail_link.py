"""A results link by e-mail, through a real mail server: what is in it, what cannot be put into it, and refusals."""

from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import ValidationError

from tests.api.pull_files import Steady, filed
from tests.conftest import settings_for
from tests.mail_server import Mailbox, mail_server

PIN = "Kessel 47 rot"


@pytest.fixture
def box() -> Iterator[Mailbox]:
    with mail_server() as box:
        yield box


@pytest.fixture
def settings(database: Any, tmp_path: Any, box: Mailbox) -> Any:
    """The service's settings, with a mail server on this machine."""
    mail = {"smtp_host": "127.0.0.1", "smtp_port": box.port, "smtp_security": "none"}
    return settings_for(database.url, tmp_path, **mail, smtp_sender="results@quarrystone.example.test")


@pytest.fixture
def link(tuner: Any, desk: Any, house: Any) -> dict[str, Any]:
    pull = filed(tuner, house, Steady(gain_rad_s2=8.0).csv())["id"]
    asked = {"pull_ids": [pull], "standard": "iso_1585", "pin": PIN}
    return dict(desk.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked).json())


def _send(client: Any, link: dict[str, Any], to: str) -> Any:
    return client.post(f"/api/v1/results-links/{link['id']}/mail", json={"to": to})


def test_the_mail_holds_the_address_its_end_and_nothing_of_the_car(desk: Any, link: Any, box: Mailbox) -> None:
    assert _send(desk, link, "ilse@example.test").status_code == 204
    assert box.receivers == ["ilse@example.test"]
    (message,) = box.messages
    assert message["to"] == "ilse@example.test"
    assert message["from"].addresses[0].addr_spec == "results@quarrystone.example.test"
    assert message["from"].addresses[0].display_name == "Quarrystone Motor Works"
    text = message.get_content()
    assert link["url"] in text
    assert "PIN" in text
    for private in ("Corvane", "Ilse", "Kessel", "KVM"):
        assert private not in message.as_string()


def test_the_mail_is_told_in_the_language_of_its_page(desk: Any, house: Any, link: Any, box: Mailbox) -> None:
    asked = {"pull_ids": link["pull_ids"], "standard": "iso_1585", "language": "de", "pin": PIN}
    told = desk.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked).json()
    assert _send(desk, told, "ilse@example.test").status_code == 204
    (message,) = box.messages
    text = message.get_content()
    assert message["subject"] == "Ihr Ergebnis vom Leistungsprüfstand"
    assert "Die Seite ist bis 8.6.2026 zu sehen." in text
    assert "nach der PIN" in text
    assert "Your" not in text


@pytest.mark.parametrize(
    "to",
    [
        "a@example.test\nBcc: b@example.test",
        "a@example.test, b@example.test",
        "a@example.test\u2028b",
        "<a@example.test>",
        "a b@example.test",
        "nobody",
        "@example.test",
        "a@b",
        "müller@example.test",
        "a@example.test\r\n\r\nhello",
    ],
)
def test_what_is_no_single_address_is_refused_and_nothing_leaves(desk: Any, link: Any, box: Mailbox, to: str) -> None:
    answer = _send(desk, link, to)
    assert answer.status_code == 422, answer.text
    assert answer.json()["problems"][0]["field"] == "to"
    assert box.messages == []
    assert box.receivers == []


def test_a_refused_receiver_is_told_in_the_servers_words_and_the_link_is_kept(
    desk: Any, anonymous: Any, link: Any, box: Mailbox
) -> None:
    box.refuse = "550 no such mailbox here"
    answer = _send(desk, link, "gone@example.test")
    assert answer.status_code == 503
    assert "no such mailbox here" in answer.json()["detail"]
    assert "link itself is kept" in answer.json()["detail"]
    assert anonymous.get(link["url"]).status_code == 200


def test_a_server_that_breaks_off_or_is_away_is_told_and_can_be_tried_again(desk: Any, link: Any, box: Mailbox) -> None:
    box.break_off = True
    assert "not sent" in _send(desk, link, "ilse@example.test").json()["detail"]
    box.break_off = False
    assert _send(desk, link, "ilse@example.test").status_code == 204


def test_the_audit_trail_says_that_it_was_sent_and_to_whom_only_as_a_digest(desk: Any, owner: Any, link: Any) -> None:
    _send(desk, link, "ilse@example.test")
    entries = owner.get("/api/v1/audit", params={"record": "results_link"}).json()["items"]
    (sent,) = [one for one in entries if one["action"] == "mail"]
    assert len(sent["after"]["to_digest"]) == 16
    assert "ilse" not in str(sent)


def test_an_ended_link_is_not_sent(desk: Any, link: Any, box: Mailbox) -> None:
    desk.delete(f"/api/v1/results-links/{link['id']}")
    assert _send(desk, link, "ilse@example.test").status_code == 422
    assert box.messages == []


def test_without_a_mail_server_the_page_offers_the_other_ways(desk: Any, app: Any, link: Any, database: Any) -> None:
    assert 'name="to"' in desk.get(f"/links/{link['id']}").text
    app.state.settings = app.state.settings.model_copy(update={"smtp_host": ""})
    assert _send(desk, link, "ilse@example.test").status_code == 409
    page = desk.get(f"/links/{link['id']}").text
    assert 'name="to"' not in page
    assert link["url"] in page


def test_a_mail_server_elsewhere_must_be_spoken_to_privately(database: Any, tmp_path: Any) -> None:
    sender = {"smtp_sender": "results@quarrystone.example.test"}
    with pytest.raises(ValidationError, match="localhost only"):
        settings_for(database.url, tmp_path, smtp_host="mail.example.test", smtp_security="none", **sender)
    with pytest.raises(ValidationError, match="SMTP_SENDER"):
        settings_for(database.url, tmp_path, smtp_host="mail.example.test")
