"""What a reader of results should know besides the figures, in the customer's words: the cell's words ask for more."""

from pullbook.pages.results_shown import FlagLine
from pullbook.shop.comparing import Comparison

_OUTSIDE = (
    "The air in the cell was further from the standard’s reference air than the standard is written for. The height of "
    "a figure is then a guide; the difference between pulls taken in like air suffers far less."
)
CUSTOMER_WORDS = {
    "heat_soak": (
        "Power fell from pull to pull as the intake air grew warmer, so later pulls of that setup show less than the "
        "car gives when cool."
    ),
    "factor_outside_limits": _OUTSIDE,
    "corrected_twice": (
        "This engine holds its own boost, so it makes up for thin air by itself; the factor counts that twice. Read "
        "the observed figure, before the factor, beside the corrected one."
    ),
    "no_weather": "No reading of the air is on record for the time, so power is shown as measured, without correction.",
    "weather_stale": "The air was read long before or after the pull, so the correction is less certain than usual.",
    "weather_against_car": (
        "The air read in the cell and the car’s own sensors do not agree, so the correction, and with it the height of "
        "the figures, is in doubt."
    ),
    "clipped_sensor": (
        "A sensor was at the end of its range in part of the pull: what it shows there is not the whole truth."
    ),
    "weather_doubt": "The reading of the air behind the correction is in doubt, and with it the height of the figures.",
    "mixed_correction": "Some pulls are corrected for the air and some are not, so they do not compare as they stand.",
    "mixed_axis": "Some pulls carry no engine speed, so their curves do not lie on one axis with the others.",
    "without_curve": "Some of the pulls could not be read and show no curve.",
    "closed_throttle": "The throttle was not fully open all through the pull, so there was more to be had.",
    "dropouts": "The engine-speed signal dropped out in places; the gaps were bridged from the rollers.",
    "engine_speed_from_ratio": (
        "Engine speed was worked out from the rollers and the gearing, not read at the engine."
    ),
    "no_engine_speed": "No engine speed was recorded, so there is no torque at the engine’s own speed.",
    "interrupted_sweep": "The pull was broken off and taken up again; the longest piece is shown.",
    "short_sweep": "The pull covers a short stretch of engine speed only; the true peak may lie outside it.",
    "limit_passed": "A limit that the shop had set for this job was passed in a pull. Ask the shop what it advises.",
    "lean_under_load": "The mixture was leaner under load than is usual. Ask the shop what it advises.",
    "rich_by_command": (
        "The engine’s own controller asked for a rich mixture in part of the pull. That protects the engine and costs "
        "some power."
    ),
    "roller_speed_mended": "Single stray readings of roller speed were mended.",
    "time_repaired": "Some time stamps in the recording were out of order and were put right.",
    "wheel_slip": "The tyres slipped on the rollers in part of the pull; the figures there are less certain.",
}
TOLD_ELSEWHERE = {"set_aside"}  # the table and its list of reasons say it


def flag_lines(comparison: Comparison) -> tuple[FlagLine, ...]:
    """Each thing once, and in how many of the pulls that count it was seen; what holds for all of them first."""
    standing = [pull for setup in comparison.setups for pull in setup.standing]
    seen: dict[str, set[str]] = {}
    for flag in comparison.flags:
        seen.setdefault(CUSTOMER_WORDS.get(flag.code, flag.text), set())
    for pull in standing:
        for flag in pull.flags:
            if flag.code not in TOLD_ELSEWHERE:
                seen.setdefault(CUSTOMER_WORDS.get(flag.code, flag.text), set()).add(pull.facts.id)
    return tuple(FlagLine(text, len(pulls), len(standing)) for text, pulls in seen.items())
