"""What the address asks a comparison to be judged by, as people type it; what will not do is said, and not used."""

from pullbook.errors import Invalid
from pullbook.late_methods import dataclass
from pullbook.measure.verdict import WORTH_PCT
from pullbook.pages.verdict_shown import JudgedBy
from pullbook.shop.comparing import Comparison
from pullbook.shop.judging import Asked, refuse_bad_asking
from pullbook.shown_units import plain_number

BLANKS = str.maketrans("", "", " \u00a0\u202f\u2009")


@dataclass(frozen=True)
class Typed:
    """The three fields of the form, as typed."""

    low: str = ""
    high: str = ""
    worth: str = ""


def asked_of(typed: Typed) -> Asked:
    """Invalid, in words, for what is no number and for what nothing could be judged by."""
    worth = _number("The difference that matters", typed.worth, "a share in %, like 1")
    asked = Asked(
        _number("The beginning of the band", typed.low, "a speed in rev/min, like 3000"),
        _number("The end of the band", typed.high, "a speed in rev/min, like 6000"),
        WORTH_PCT if worth is None else worth,
    )
    refuse_bad_asking(asked)
    return asked


def _number(what: str, typed: str, would_do: str) -> float | None:
    text = typed.translate(BLANKS).replace(",", ".").removesuffix("%")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise Invalid(f"{what}, “{typed}”, is no number; {would_do}, would do.") from None


def judged_by(comparison: Comparison | None, typed: Typed) -> JudgedBy:
    """What the form shows again, and the band in force for the chart."""
    judgement = comparison.judgement if comparison else None
    band = judgement.band_rpm if judgement else None
    shared = judgement.shared_rpm if judgement else None
    usual = (plain_number(band[0]), plain_number(band[1])) if band else ("", "")
    return JudgedBy(
        low=typed.low,
        high=typed.high,
        worth=typed.worth,
        usual_low=usual[0],
        usual_high=usual[1],
        reach=f"{plain_number(shared[0])} to {plain_number(shared[1])}" if shared else "",
        low_rpm=band[0] if band else None,
        high_rpm=band[1] if band else None,
        least_rpm=shared[0] if shared else None,
        most_rpm=shared[1] if shared else None,
    )
