"""Calibration evidence in words and numbers: what is entered, and what it is answered to come to."""

from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, model_validator

from pullbook.api.shaping import Answer, Asked, Instant, Words
from pullbook.errors import FieldProblem, Invalid
from pullbook.measure.brakecheck import (
    PLACE_KNOWN_U_M_S2,
    PLACE_UNKNOWN_U_M_S2,
    STANDARD_GRAVITY_M_S2,
    BrakeCheck,
    gravity,
)
from pullbook.measure.coastdown import CoastDown
from pullbook.measure.coastruns import InertiaCheck
from pullbook.shop.calibrating import EvidenceRead, Proposed
from pullbook.shop.evidencing import EvidenceFacts

FEWEST_WEIGHTS = 3
Kind = Literal["coast_down", "known_torque", "known_mass", "brake_weights"]
FiledKind = Literal["coast_down", "known_torque", "known_mass"]


class WeightStep(Asked):
    """One reading: all the weight that hangs, what the cell says, and whether weight was being added or taken off."""

    mass_kg: Annotated[float, Field(ge=0, le=5000)]
    reading: Annotated[float, Field(ge=-1e6, le=1e6)]
    rising: bool


class EnteredEvidence(Asked):
    """Known weights on the brake's arm. `readings_are` says whether readings are torque (N·m) or force (N).

    `latitude_deg` gives gravity of the place, with the cell's own altitude; without it and without `gravity_m_s2` the
    standard 9.80665 m/s² is used, and what a place unknown may differ counts as uncertainty.
    """

    kind: Literal["brake_weights"]
    taken_at: Instant
    readings_are: Literal["brake_torque_nm", "brake_force_n"] = "brake_torque_nm"
    arm_m: Annotated[float, Field(gt=0, le=10, description="On which the weights hang.")]
    arm_u_m: Annotated[float, Field(ge=0, le=1, description="Its standard uncertainty (k = 1).")]
    mass_u_share: Annotated[float, Field(ge=0, le=0.1, description="Of the weights, as a share; 0.001 is 0.1 %.")] = 0.0
    gravity_m_s2: Annotated[float, Field(ge=9.7, le=9.9)] | None = None
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    steps: Annotated[list[WeightStep], Field(min_length=4, max_length=200)]
    note: Words = ""

    @model_validator(mode="after")
    def _enough(self) -> "EnteredEvidence":
        if self.gravity_m_s2 is not None and self.latitude_deg is not None:
            raise ValueError("gravity_m_s2 and latitude_deg both came; one of them would do")
        return self

    def kept(self, altitude_m: float) -> dict[str, object]:
        """As it is stored: with the gravity that counts. Invalid where the weights tell no line from a bend."""
        masses = sorted({step.mass_kg for step in self.steps})
        if len(masses) < FEWEST_WEIGHTS:
            raise Invalid(
                f"Only {len(masses)} different weights: a line cannot be told from a bend.",
                FieldProblem("steps", masses, f"at least {FEWEST_WEIGHTS} different weights, an empty arm among them"),
            )
        g, u = STANDARD_GRAVITY_M_S2, PLACE_UNKNOWN_U_M_S2
        if self.gravity_m_s2 is not None:
            g, u = self.gravity_m_s2, PLACE_KNOWN_U_M_S2
        elif self.latitude_deg is not None:
            g, u = gravity(self.latitude_deg, altitude_m), PLACE_KNOWN_U_M_S2
        return {
            **self.model_dump(include={"readings_are", "arm_m", "arm_u_m", "mass_u_share", "latitude_deg"}),
            "gravity_m_s2": g,
            "gravity_u_m_s2": u,
            "steps": [step.model_dump() for step in self.steps],
        }


class CoastAnswer(Answer):
    """A fitted run. `losses` are c0, c1, c2 in N·m, N·m·s, N·m·s² for the inertia it was read under; what was added is
    still in them. `covariance` is theirs, from the fit alone. The arrays are block means: seconds, rad/s, and what the
    fit leaves in `residual_unit`."""

    losses: list[float]
    covariance: list[list[float]]
    degrees_of_freedom: float
    inertia_kg_m2: float
    from_rad_s: float
    to_rad_s: float
    residual_unit: Literal["rad/s", "rad"]
    residual_deviation: float
    memory_order: int
    time_s: list[float]
    speed_rad_s: list[float]
    residual: list[float]


class BrakeAnswer(Answer):
    """The cell as the weights found it; N·m, `…_u` is k = 1."""

    brake_scale: float
    brake_scale_u: float
    brake_zero_nm: float
    brake_zero_u_nm: float
    gravity_m_s2: float
    span_nm: float
    linearity_nm: float
    hysteresis_nm: float | None
    repeatability_nm: float | None
    truth_nm: list[float]
    residual_nm: list[float]
    words: list[str]


class EvidenceFiled(Answer):
    """Evidence as it was filed or entered; what it comes to stands with the piece itself."""

    id: str
    cell_id: str
    kind: Kind
    taken_at: Instant
    sha256: str | None
    file_name: str
    channel_map_id: str | None
    details: dict[str, Any]
    note: str
    made_at: Instant
    made_by_name: str


class EvidenceAnswer(EvidenceFiled):
    """Evidence on record and what it comes to, worked out at this reading. `failure` says why it comes to nothing."""

    coast_down: CoastAnswer | None
    brake: BrakeAnswer | None
    failure: str | None


class EvidenceList(Answer):
    """All evidence of a cell, the latest taken first."""

    items: list[EvidenceFiled]


class InertiaAnswer(Answer):
    """J by what was added, beside the calibration's; `z` is how many standard uncertainties lie between."""

    inertia_kg_m2: float
    u_kg_m2: float
    calibration_kg_m2: float
    calibration_u_kg_m2: float
    z: float
    words: str


class ProposedAnswer(Answer):
    """The constants that chosen evidence comes to; `from_evidence` names those it gave, the rest stand as they were."""

    values: dict[str, float | None]
    from_evidence: list[str]
    words: list[str]
    inertia: InertiaAnswer | None
    loss_covariance: list[list[float]] | None
    evidence_ids: list[str]


def filed_facts(facts: EvidenceFacts) -> dict[str, Any]:
    """Evidence as listed: nothing is fitted for it."""
    return {name: getattr(facts, name) for name in facts.__dataclass_fields__}


def evidence_facts(read: EvidenceRead) -> dict[str, Any]:
    """Evidence as answered."""
    run = None if read.run is None or read.inertia_kg_m2 is None else _coast(read.run, read.inertia_kg_m2)
    brake = None if read.brake is None else _brake(read.brake)
    return {**filed_facts(read.facts), "coast_down": run, "brake": brake, "failure": read.failure}


def _coast(run: CoastDown, inertia: float) -> dict[str, Any]:
    return {
        "losses": run.losses_nm(inertia).tolist(),
        "covariance": (run.covariance * inertia**2).tolist(),
        "degrees_of_freedom": run.dof,
        "inertia_kg_m2": inertia,
        "from_rad_s": run.low_rad_s,
        "to_rad_s": run.high_rad_s,
        "residual_unit": "rad" if run.from_angle else "rad/s",
        "residual_deviation": run.noise,
        "memory_order": run.memory,
        "time_s": np.round(run.time_s, 4).tolist(),
        "speed_rad_s": np.round(run.speed_rad_s, 5).tolist(),
        "residual": np.round(run.residual, 7).tolist(),
    }


def _brake(brake: BrakeCheck) -> dict[str, Any]:
    return {
        "brake_scale": brake.scale,
        "brake_scale_u": brake.scale_u,
        "brake_zero_nm": brake.zero_nm,
        "brake_zero_u_nm": brake.zero_u_nm,
        "gravity_m_s2": brake.gravity_m_s2,
        "span_nm": brake.span_nm,
        "linearity_nm": brake.linearity_nm,
        "hysteresis_nm": brake.hysteresis_nm,
        "repeatability_nm": brake.repeatability_nm,
        "truth_nm": brake.truth_nm.tolist(),
        "residual_nm": brake.residual_nm.tolist(),
        "words": list(brake.words),
    }


def _inertia(found: InertiaCheck | None) -> dict[str, Any] | None:
    return None if found is None else {name: getattr(found, name) for name in InertiaAnswer.model_fields}


def proposed_facts(proposed: Proposed) -> dict[str, Any]:
    """A proposal as answered."""
    return {
        "values": proposed.values,
        "from_evidence": list(proposed.from_evidence),
        "words": list(proposed.words),
        "inertia": _inertia(proposed.inertia),
        "loss_covariance": None if proposed.losses is None else proposed.losses.with_inertia.tolist(),
        "evidence_ids": list(proposed.evidence_ids),
    }
