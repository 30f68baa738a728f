"""Calibration evidence: coast-downs as files, weights as numbers, and what constants they come to."""

from typing import Annotated

from fastapi import Depends, Path, Query, Request, Response

from pullbook.api.cells import CellId
from pullbook.api.cells import one as one_cell
from pullbook.api.evidence_shapes import (
    EnteredEvidence,
    EvidenceAnswer,
    EvidenceList,
    FiledKind,
    ProposedAnswer,
    evidence_facts,
    filed_facts,
    proposed_facts,
)
from pullbook.api.raw_answers import raw_answer
from pullbook.api.receiving import FILE_BODY, Received, receive
from pullbook.api.shaping import Instant
from pullbook.deps import DatabaseDep, Now, ReadSession, SettingsDep, SignedIn, Tuner, WriteSession
from pullbook.errors import NotFound
from pullbook.json_answers import Json
from pullbook.late_routes import LateRouter
from pullbook.shop.attesting import attest
from pullbook.shop.calibrating import propose, read_evidence
from pullbook.shop.evidencing import (
    EvidenceFacts,
    EvidenceWanted,
    enter_weights,
    evidence_of,
    file_evidence,
    refuse_unknown_cell,
    refuse_wrong_details,
)
from pullbook.shop.filing import read_file, verify_stored
from pullbook.shop.mapping import map_choices
from pullbook.shop.weather_matching import refuse_future

router = LateRouter(prefix="/api/v1/cells/{cell_id}/calibration-evidence", tags=["calibration evidence"])
EvidenceId = Annotated[str, Path(description="The evidence's id.")]
Torque = Annotated[float | None, Query(ge=-1e5, le=1e5, description="known_torque: held all the way down, N·m.")]
Inertia = Annotated[float | None, Query(gt=0, le=1e5, description="known_mass: of a disc that was bolted on, kg·m².")]
Hung = Annotated[float | None, Query(gt=0, le=1e4, description="known_mass: of a weight on a rope, kg.")]
Reach = Annotated[float | None, Query(gt=0, le=10, description="known_mass: radius that the rope runs off, m.")]
Spread = Annotated[float | None, Query(ge=0, le=1e5, description="Its standard uncertainty (k = 1).")]


def _said(
    torque_nm: Torque = None,
    torque_u_nm: Spread = None,
    disc_inertia_kg_m2: Inertia = None,
    disc_inertia_u_kg_m2: Spread = None,
    hung_mass_kg: Hung = None,
    hung_mass_u_kg: Spread = None,
    hung_radius_m: Reach = None,
    hung_radius_u_m: Spread = None,
) -> dict[str, float | None]:
    return {
        "torque_nm": torque_nm,
        "torque_u_nm": torque_u_nm,
        "disc_inertia_kg_m2": disc_inertia_kg_m2,
        "disc_inertia_u_kg_m2": disc_inertia_u_kg_m2,
        "hung_mass_kg": hung_mass_kg,
        "hung_mass_u_kg": hung_mass_u_kg,
        "hung_radius_m": hung_radius_m,
        "hung_radius_u_m": hung_radius_u_m,
    }


def evidence_wanted(
    cell_id: CellId,
    kind: Annotated[FiledKind, Query(description="What was done; a bare coast-down needs nothing beside it.")],
    taken_at: Annotated[Instant, Query(description="When it was taken, with offset.")],
    file_name: Annotated[str, Query(min_length=1, max_length=1000, description="What the file is called.")],
    said: Annotated[dict[str, float | None], Depends(_said)],
    person: Tuner,
    session: ReadSession,
    now: Now,
    note: Annotated[str, Query(max_length=2000, description="Rollers cold or warm, belts on or off, …")] = "",
    channel_map_id: Annotated[str | None, Query(description="A saved channel map, where one is needed.")] = None,
) -> EvidenceWanted:
    """What the file is, checked before a byte of it is read."""
    refuse_future("taken_at", taken_at, now)
    refuse_unknown_cell(session, cell_id)
    details = refuse_wrong_details(kind, said)
    if channel_map_id is not None:
        map_choices(session, channel_map_id)
    session.rollback()  # a slow upload must not hold a connection and its view of the records
    return EvidenceWanted(cell_id, kind, taken_at, file_name, details, note, channel_map_id)


Wanted = Annotated[EvidenceWanted, Depends(evidence_wanted)]


async def evidence_body(request: Request, wanted: Wanted, settings: SettingsDep) -> Received:
    """The body, read only once it is known what it is evidence of."""
    return await receive(request, settings)


@router.post(
    "",
    status_code=201,
    summary="File evidence for a calibration",
    response_model=EvidenceAnswer,
    responses={
        200: {"model": EvidenceAnswer, "description": "This very file is on record as this very thing already."},
        413: {"description": "More bytes than are taken; refused before they are read."},
        415: {"description": "Not a kind of file that is read here."},
    },
    openapi_extra=FILE_BODY,
)
def file(
    wanted: Wanted,
    received: Annotated[Received, Depends(evidence_body)],
    person: Tuner,
    database: DatabaseDep,
    settings: SettingsDep,
    now: Now,
) -> Response:
    """Kept as it came, under its own hash; fitted anew at every reading, and never edited."""
    read = read_file(received.data, received.sha256)
    with database.writing() as session:
        evidence_id, made = file_evidence(session, now, person.id, wanted, read)
    attest(database, settings.signing_key, now)
    with database.reading() as session:  # a connection that did not write it
        verify_stored(session, received.sha256)
        answer = evidence_facts(read_evidence(session, _one(session, wanted.cell_id, evidence_id)))
    return Json(answer, 201 if made else 200)


@router.post("/entered", status_code=201, summary="Enter known weights", response_model=EvidenceAnswer)
def enter(cell_id: CellId, asked: EnteredEvidence, person: Tuner, session: WriteSession, now: Now) -> Response:
    """As they were read off the brake's load cell, going up and coming down; never edited."""
    refuse_future("taken_at", asked.taken_at, now)
    details = asked.kept(one_cell(session, cell_id)["altitude_m"])
    evidence_id = enter_weights(session, now, person.id, cell_id, asked.taken_at, details, asked.note)
    return Json(evidence_facts(read_evidence(session, _one(session, cell_id, evidence_id))), 201)


@router.get("", summary="A cell's evidence", response_model=EvidenceList)
def several(cell_id: CellId, person: SignedIn, session: ReadSession) -> Response:
    """As it was filed or entered, latest taken first; what a piece comes to is answered with the piece itself."""
    one_cell(session, cell_id)
    return Json({"items": [filed_facts(one) for one in reversed(evidence_of(session, cell_id))]})


@router.get("/proposal", summary="What chosen evidence comes to", response_model=ProposedAnswer)
def proposal(
    cell_id: CellId,
    person: SignedIn,
    session: ReadSession,
    evidence_id: Annotated[list[str], Query(min_length=1, max_length=60, description="Which evidence; may repeat.")],
) -> Response:
    """Constants for a new calibration, and what to doubt; nothing is made by asking."""
    one_cell(session, cell_id)
    return Json(proposed_facts(propose(session, cell_id, evidence_id)))


@router.get("/{evidence_id}", summary="One piece of evidence", response_model=EvidenceAnswer)
def get(cell_id: CellId, evidence_id: EvidenceId, person: SignedIn, session: ReadSession) -> Response:
    """With its fit, worked out anew under the calibration that was in force when it was taken."""
    return Json(evidence_facts(read_evidence(session, _one(session, cell_id, evidence_id))))


@router.get(
    "/{evidence_id}/raw",
    summary="The file of a piece of evidence",
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}, "description": "The very bytes that were sent."}},
)
def raw(cell_id: CellId, evidence_id: EvidenceId, person: SignedIn, session: ReadSession) -> Response:
    """Byte for byte; weights that were entered have no file."""
    facts = _one(session, cell_id, evidence_id)
    if facts.sha256 is None:
        raise NotFound("This evidence was entered by hand; there is no file.")
    return raw_answer(session, facts.sha256, facts.file_name)


def _one(session: ReadSession, cell_id: str, evidence_id: str) -> EvidenceFacts:
    for facts in evidence_of(session, cell_id):
        if facts.id == evidence_id:
            return facts
    raise NotFound(f"There is no evidence {evidence_id} of cell {cell_id}.")
