"""Sending a results link by e-mail, through the shop's own mail server where one is set."""

from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Path, Response
from pydantic import Field
from sqlalchemy import select

from pullbook.api.results_links import address_of
from pullbook.api.shaping import Asked
from pullbook.db.evidence import ResultsLink
from pullbook.db.tables import Shop
from pullbook.deps import DatabaseDep, Desk, LinkKeyDep, Now, SettingsDep
from pullbook.errors import Clash, FieldProblem, Invalid, NotFound
from pullbook.late_routes import LateRouter
from pullbook.settings import Settings
from pullbook.shop.auditing import note
from pullbook.shop.mailing import LinkMail, MailServer, link_message, send_mail

router = LateRouter(prefix="/api/v1", tags=["results-links"])


class MailWanted(Asked):
    """Where to send the link."""

    to: Annotated[str, Field(min_length=3, max_length=254)]


def mail_server(settings: Settings) -> MailServer:
    """The shop's mail server. Clash where none is set."""
    if not settings.can_mail:
        raise Clash(
            "No mail server is set for this service; copy the link, or show its code.",
            FieldProblem("PULLBOOK_SMTP_HOST", settings.smtp_host, "a mail server, and PULLBOOK_SMTP_SENDER"),
        )
    return MailServer(
        settings.smtp_host,
        settings.smtp_port,
        settings.smtp_security,
        settings.smtp_user,
        settings.smtp_password.get_secret_value(),
        settings.smtp_sender,
    )


@router.post("/results-links/{link_id}/mail", status_code=204, summary="Send a results link by e-mail")
def send(
    link_id: Annotated[str, Path(description="The link's id.")],
    asked: MailWanted,
    person: Desk,
    database: DatabaseDep,
    settings: SettingsDep,
    key: LinkKeyDep,
    now: Now,
) -> Response:
    """204 once the mail server took it; 503 says in its words why it did not. Whatever happens, the link is kept."""
    with database.reading() as session:
        link = session.get(ResultsLink, link_id)
        if link is None:
            raise NotFound(f"There is no results link {link_id}.")
        if link.revoked_at is not None or link.ends_at <= now:
            raise Invalid("This link shows nothing any more.", FieldProblem("link_id", link_id, "a link that is live"))
        server = mail_server(settings)
        shop = session.execute(select(Shop.name, Shop.time_zone)).one()
        url = address_of(key, settings.public_url, link_id, link.token_hash)
        ends_at = link.ends_at.astimezone(ZoneInfo(shop.time_zone))
        ends_on = f"{ends_at:%-d.%-m.%Y}" if link.language == "de" else f"{ends_at:%-d %B %Y}"
        mail = LinkMail(asked.to.strip(), shop.name, url, ends_on, link.pin_hash is not None, link.language)
    send_mail(server, link_message(server, mail))  # outside any transaction: a mail server may take its time
    with database.writing() as writing:
        to = {"to_digest": key.seal("mail", mail.to.casefold())[:16]}
        note(writing, now, person.id, "mail", "results_link", link_id, None, to)
    return Response(status_code=204)
