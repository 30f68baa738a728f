"""What a vehicle identification number says against itself. It warns and never refuses: the car is here anyway."""

_VALUES = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
LENGTH = 17


def tidy(vin: str) -> str:
    """Capitals, without the spaces and hyphens that people read it out with."""
    return "".join(letter for letter in vin.upper() if letter not in " -")


def weighted_sum(vin: str) -> int:
    """Sum of value × weight over all 17 places, by 49 CFR 565.15(c); the check digit's own place weighs nothing."""
    return sum(_VALUES[letter] * weight for letter, weight in zip(vin, _WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """The ninth character that the other sixteen call for: 0…9, or X for ten (49 CFR 565.15(c))."""
    remainder = weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def vin_warning(vin: str) -> str | None:
    """Why this number is questionable, in words; None when it is in order or not given."""
    vin = tidy(vin)
    if not vin:
        return None
    wrong = sorted({letter for letter in vin if letter not in _VALUES})
    if wrong:
        return f"The VIN holds {', '.join(wrong)}; a VIN has digits and letters other than I, O and Q. Read it again."
    if len(vin) != LENGTH:
        return f"The VIN has {len(vin)} characters; since 1981 it has 17. Right for an older car, else read it again."
    wanted = check_digit(vin)
    if vin[8] == wanted:
        return None
    return (
        f"The VIN's check digit (ninth place) is {vin[8]}, the others call for {wanted}: one character may be misread. "
        "Cars made for other markets than North America need not follow it."
    )
