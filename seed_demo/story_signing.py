"""Before a car is run: how it came, and the safety checklist that was signed on paper in the cell and written up."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from seed_demo.people import TIME_ZONE
from seed_demo.plans import Job
from seed_demo.speaking import Facts, Voice

UNSIGNED = ("today-on-hold", "plain-08")  # nobody signed here, and every pull says so
BEFORE_FIRST = timedelta(minutes=4)
TYRES = (
    "Even, half worn",
    "Outer edges worn in front",
    "As new",
    "Rear near the mark; told so",
    "Sound, small stones picked out",
)
HOOKS = ("Board, hook 3", "Board, hook 7", "In the drawer at the desk", "Board, hook 12")
A_WORD = "does not apply: no fan fits in front, stopped between pulls to cool"


def check_in(desk: Voice, job: Job, ticket: Facts) -> None:
    """What the desk noted as the car came; what is on record already stays."""
    if ticket["key_count"] is not None or job.plan.state in ("booked", "cancelled"):
        return
    pick = sum(map(ord, job.key))
    body: Facts = {
        "version": ticket["version"],
        "fuel_eighths": 3 + pick % 6,
        "key_count": 1 + pick % 2,
        "keys_where": HOOKS[pick % len(HOOKS)],
        "tyre_condition": TYRES[pick % len(TYRES)],
        "tyre_age": f"week {1 + pick % 50} of {2019 + pick % 6}",
    }
    desk.patch(f"/tickets/{ticket['id']}", body)


def sign_for(tuner: Voice, job: Job, ticket_id: str, cell_id: str) -> None:
    """One signing for each day that the car was pulled on, a few minutes before its first pull."""
    if job.key in UNSIGNED:
        return
    days = list(first_of_each_day(job))
    if not days or tuner.get(f"/tickets/{ticket_id}/signings", limit=1)["items"]:
        return
    listed = tuner.get("/checklists", limit=1)["items"][0]
    points: list[Facts] = [{"done": True} for _ in listed["points"]]
    if sum(map(ord, job.key)) % 9 == 0:
        place = next((at for at, text in enumerate(listed["points"]) if text.startswith("Cooling")), 0)
        points[place] = {"done": False, "note": A_WORD}
    for first in days:
        paper_at = (first - BEFORE_FIRST).isoformat()
        body = {"cell_id": cell_id, "checklist_id": listed["id"], "points": points, "paper_at": paper_at}
        tuner.post(f"/tickets/{ticket_id}/signings", body)


def first_of_each_day(job: Job) -> Iterator[datetime]:
    """When the car was first pulled, on each day by the shop's clock."""
    days: dict[object, datetime] = {}
    for taken_at in sorted(pull.taken_at for setup in job.setups for pull in setup.pulls):
        days.setdefault(taken_at.astimezone(ZoneInfo(TIME_ZONE)).date(), taken_at)
    yield from days.values()
