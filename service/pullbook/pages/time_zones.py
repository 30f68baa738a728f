"""Time zones that a shop may choose from: places on a map, and UTC; not the list's old spellings and odd offsets."""

from zoneinfo import available_timezones


def zone_names() -> tuple[str, ...]:
    """UTC, then every place by name."""
    places = sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/"))
    return ("UTC", *places)
