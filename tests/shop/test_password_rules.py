"""Passwords: long enough, not a common one, not the person's own name. No rules of composition."""

import pytest

from pullbook.errors import Invalid
from pullbook.shop.password_rules import check_password, common_passwords


@pytest.mark.parametrize(
    "password",
    [
        "eleven warm tyres",
        "zq8#mLw2",
        "ñandú über λ",
        "x9" + "y" * 62,
        "        spaces count        ",
        "ab" * 100 + "c",
    ],
)
def test_any_long_enough_password_of_ones_own_will_do(password):
    check_password(password, "mira")


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("", "8 characters"),
        ("seven77", "8 characters"),
        ("x" * 257, "256"),
        ("password1", "first"),
        ("PassWord1", "first"),
        ("qwertyuiop", "first"),
        ("1234567890", "first"),
        ("turbo2026!", "first"),
        ("iloveyou", "first"),
        ("aaaaaaaaa", "first"),
        ("mira rolls on", "name"),
        ("wwwMIRAwww", "name"),
    ],
)
def test_what_anybody_would_try_first_will_not(password, why):
    with pytest.raises(Invalid, match=why) as refusal:
        check_password(password, "mira")
    assert refusal.value.problems[0].field == "password"
    assert not password or password not in str(refusal.value.problems)


def test_the_list_is_long_and_all_of_it_could_be_typed():
    known = common_passwords()
    assert len(known) >= 3000
    assert all(len(one) >= 8 and one == one.casefold() and not one.startswith("# ") for one in known)
