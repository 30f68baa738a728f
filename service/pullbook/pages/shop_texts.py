"""The shop's own texts: the waiver that customers accept and the checklist that is signed before a car is run."""

from datetime import datetime
from typing import Annotated, ClassVar

from fastapi import Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from pullbook.db.arrival import SafetyChecklist, WaiverText
from pullbook.db.tables import Staff
from pullbook.deps import PagePerson, ReadSession
from pullbook.errors import NotFound
from pullbook.late_methods import dataclass
from pullbook.late_routes import LateRouter
from pullbook.pages.render import around_person, draw
from pullbook.pages.told import Shown, told

router = LateRouter(include_in_schema=False)
MOST_VERSIONS = 200
Number = Annotated[int | None, Query(ge=1, le=10**9)]


@dataclass(frozen=True)
class VersionLine:
    """A version, to be chosen."""

    number: int
    made_at: datetime
    made_by_name: str | None  # None: it came with the service


@dataclass(frozen=True)
class WaiverPage(Shown):
    """The shop's terms."""

    template: ClassVar[str] = "owner/waiver.html"
    chosen: VersionLine = told("The version shown.")
    body: str = told("Its text.")
    versions: tuple[VersionLine, ...] = told("Every version, the one in force first.")


@dataclass(frozen=True)
class ChecklistPage(Shown):
    """The safety checklist."""

    template: ClassVar[str] = "owner/checklist.html"
    chosen: VersionLine = told("The version shown.")
    points: tuple[str, ...] = told("Its points, in their order.")
    versions: tuple[VersionLine, ...] = told("Every version, the one in force first.")


def _versions(session: Session, kind: type[WaiverText] | type[SafetyChecklist]) -> tuple[VersionLine, ...]:
    rows = session.execute(
        select(kind.number, kind.made_at, Staff.full_name)
        .outerjoin(Staff, Staff.id == kind.made_by)
        .order_by(kind.number.desc())
        .limit(MOST_VERSIONS)
    )
    return tuple(VersionLine(*row) for row in rows)


def _chosen(versions: tuple[VersionLine, ...], number: int | None, called: str) -> VersionLine:
    found = next((one for one in versions if number in (None, one.number)), None)
    if found is None:
        raise NotFound(f"There is no version {number} of the {called}.")
    return found


@router.get("/waiver")
def waiver(request: Request, session: ReadSession, person: PagePerson, version: Number = None) -> Response:
    """The shop's terms, as they are and as they were; an owner writes them anew."""
    versions = _versions(session, WaiverText)
    chosen = _chosen(versions, version, "waiver")
    body = session.execute(select(WaiverText.body).where(WaiverText.number == chosen.number)).scalar_one()
    return draw(around_person(request, session, person, "waiver"), WaiverPage(chosen, body, versions))


@router.get("/checklist")
def checklist(request: Request, session: ReadSession, person: PagePerson, version: Number = None) -> Response:
    """What is gone through before a car is run; an owner writes it anew."""
    versions = _versions(session, SafetyChecklist)
    chosen = _chosen(versions, version, "checklist")
    asked = select(SafetyChecklist.points).where(SafetyChecklist.number == chosen.number)
    page = ChecklistPage(chosen, tuple(session.execute(asked).scalar_one()), versions)
    return draw(around_person(request, session, person, "checklist"), page)
