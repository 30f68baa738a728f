"""Vehicle identification numbers that belong to no maker, with their check digit (49 CFR 565.15; ISO 3779)."""

import random

LETTERS = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9), strict=True)
)
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
NOBODY = "GX"  # a region of the first letter G has been given to no country
YEARS = "ABCDEFGHJKLMNPRSTVWXY123456789"  # the tenth place, from 1980 on, over and over


def check_digit(vin: str) -> str:
    """What must stand in the ninth place of these seventeen."""
    total = sum(
        weight * (int(sign) if sign.isdigit() else LETTERS[sign]) for weight, sign in zip(WEIGHTS, vin, strict=True)
    )
    return "0123456789X"[total % 11]


def invented_vin(make: str, year: int, chance: random.Random) -> str:
    """Seventeen signs with the right ninth."""
    maker = next(letter for letter in make.upper() if letter in LETTERS)
    middle = "".join(chance.choice("ABCDEFGHJKLMNPRSTUVWXYZ0123456789") for _ in range(5))
    serial = f"{chance.randrange(1_000_000):06d}"
    vin = f"{NOBODY}{maker}{middle}0{YEARS[(year - 1980) % 30]}{chance.choice('ABCDEFGH')}{serial}"
    return vin[:8] + check_digit(vin) + vin[9:]


def mistyped(vin: str) -> str:
    """The same number with one digit of its serial a unit off, as a hurried hand writes it."""
    return vin[:-1] + str((int(vin[-1]) + 1) % 10)
