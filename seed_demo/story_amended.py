"""After publishing: air that was read wrong and is put right later, and results that are said again."""

from datetime import datetime, timedelta
from urllib.parse import urlsplit

from seed_demo.plans import Job
from seed_demo.speaking import Facts, Voice

AMENDED = "filter-does-nothing"  # whose day's air was read wrong
SAID_AGAIN = "asks-for-rich"  # whose results are published anew
READ_TOO_COOL_K = 2.4
SOURCE = "Put right: the cell thermometer hung in the draught of the fan and read 2.4 K too cool"
WHY_AGAIN = "Said again under SAE J1349, which the customer’s club compares by."
_FIELDS = {"relative_pct": "relative_humidity_pct", "dew_point_c": "dew_point_c", "wet_bulb_c": "wet_bulb_c"}


def put_air_right(desk: Voice, job: Job, cell_id: str) -> int:
    """Correct every reading of the job's day, unless that was done; gives how many."""
    day = job.booked_from.replace(hour=0, minute=0, second=0, microsecond=0)
    corrected = 0
    for reading in list(desk.every("/weather", cell_id=cell_id)):
        at = datetime.fromisoformat(reading["read_at"])
        if day <= at < day + timedelta(days=1) and not reading["superseded_by_id"] and reading["source"] != SOURCE:
            desk.post("/weather", corrected_reading(reading))
            corrected += 1
    return corrected


def corrected_reading(reading: Facts) -> Facts:
    """The same reading, warmer by what the thermometer was off; the moisture stays as it was read."""
    return {
        "cell_id": reading["cell_id"],
        "read_at": reading["read_at"],
        "air_temperature_c": round(reading["air_temperature_c"] + READ_TOO_COOL_K, 2),
        "station_pressure_kpa": reading["station_pressure_kpa"],
        _FIELDS[reading["humidity_kind"]]: reading["humidity_value"],
        "source": SOURCE,
        "supersedes_id": reading["id"],
    }


def say_again(desk: Voice, job: Job, ticket_id: str) -> dict[str, str]:
    """Publish the ticket's results anew, unless that was done; gives the new link's id and path."""
    path = f"/tickets/{ticket_id}/results-links"
    links = list(desk.every(path))
    live = [link for link in links if link["live"]]
    if not live or any(link["replaces_id"] for link in live):
        return {}
    note = f"{job.plan.link_note} {WHY_AGAIN}"
    wanted = {"pull_ids": live[0]["pull_ids"], "standard": "sae_j1349", "note": note, "replaces_id": live[0]["id"]}
    made = desk.post(path, wanted)
    return {made["id"]: urlsplit(made["url"]).path}
