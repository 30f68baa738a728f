"""What the shop sells and what each ticket came to: a price list, charges from it, what was paid and what was not."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from seed_demo.plans import Job, SetupTaken
from seed_demo.speaking import Facts, Voice

TAX_BP = 2100


@dataclass(frozen=True)
class Item:
    """A line of the price list; `key` is how this file speaks of it."""

    key: str
    name: str
    kind_of_work: str
    unit: str
    unit_price_cents: int


ITEMS = (
    Item("session", "Session on the rollers, one setup", "measuring", "session", 9500),
    Item("again", "Further setup in the same session", "measuring", "setup", 4500),
    Item("hour", "Cell with tuner, by the hour", "measuring", "hour", 14000),
    Item("health", "Health check on the rollers", "diagnosis", "", 12500),
    Item("search", "Fault finding", "diagnosis", "hour", 8800),
    Item("map", "Engine map, street", "tuning", "", 48000),
    Item("race_map", "Engine map, track or other fuel", "tuning", "", 76000),
    Item("timing", "Ignition timing, trimmed", "tuning", "", 21000),
    Item("fitting", "Fitting work", "fitting", "hour", 7600),
    Item("service", "Service with filters and oil", "service", "", 23500),
    Item("plugs", "Spark plugs and coils, fitted", "service", "", 18900),
    Item("sheet", "Sheet for a club or a class", "measuring", "sheet", 2500),
)
LOOKED_INTO = ("asks-for-rich", "stale-reading", "sea-level-reading", "today-on-hold", "today-in-the-pass")
HEALTH = ("runs-lean", "today-checked-in-late", "tomorrow-first")
SHEETS = ("waits-for-a-map", "today-collected", "two-gears")
OTHER_FUEL = ("in-three-days", "today-ready")
RETURNING = ("holds-its-boost", "plain-08", "cold-day")
RETURNING_LINE: Facts = {"name": "Returning car", "kind_of_work": "measuring", "unit_price_cents": -2000}
RETURNING_LINE |= {"tax_rate_bp": TAX_BP}
PART_PAID = ("plain-16", "waits-for-a-map")
UNPAID = ("plain-14",)
FITTED_MILLI = {"exhaust": 2500, "silencer": 1500, "manifold": 4000, "intercooler": 3500, "wheels": 500, "hose": 750}
FITTED_MILLI |= {"downpipe": 3000, "injectors": 2500, "throttle": 1000, "pump": 2000, "sensor": 1000, "filter": 250}
WAYS = ("card", "card", "transfer", "cash")


def make_prices(owner: Voice) -> dict[str, str]:
    """The price list, added to where a line is missing: key → id. A line taken off the list stays off."""
    there = {one["name"]: one["id"] for one in owner.get("/price-items", retired=True)["items"]}
    for item in ITEMS:
        if item.name not in there:
            line: Facts = {"name": item.name, "kind_of_work": item.kind_of_work, "unit": item.unit}
            line |= {"unit_price_cents": item.unit_price_cents, "tax_rate_bp": TAX_BP}
            there[item.name] = owner.post("/price-items", line)["id"]
    return {item.key: there[item.name] for item in ITEMS}


def charge(desk: Voice, job: Job, ticket_id: str, prices: Mapping[str, str]) -> None:
    """What this ticket came to and what was paid for it; what is on record already stays and is not doubled."""
    path, lines = f"/tickets/{ticket_id}", list(sold(job))
    if not lines:
        return
    told = desk.get(f"{path}/charges")
    there = Counter(one["name"] for one in told["charges"])
    for key, quantity_milli in lines:
        item = next(one for one in ITEMS if one.key == key)
        if there[item.name]:
            there[item.name] -= 1
        elif quantity_milli == 1000:
            told = desk.post(f"{path}/charges/from-list", {"price_item_ids": [prices[key]]})
        else:
            told = desk.post(f"{path}/charges", _measured(item, quantity_milli))
    if job.key in RETURNING and not there[RETURNING_LINE["name"]]:
        told = desk.post(f"{path}/charges", RETURNING_LINE)
    if not told["payments"] and (payment := payment_of(job, told["total_cents"])):
        desk.post(f"{path}/payments", payment)


def _measured(item: Item, quantity_milli: int) -> Facts:
    """A line of so many thousandths of an item."""
    line: Facts = {"name": item.name, "kind_of_work": item.kind_of_work, "unit": item.unit, "tax_rate_bp": TAX_BP}
    return line | {"quantity_milli": quantity_milli, "unit_price_cents": item.unit_price_cents}


def sold(job: Job) -> Iterator[tuple[str, int]]:
    """(which item, how many thousandths of it): from what was done, or for what is ahead, from what is asked."""
    if job.plan.customer < 0 or job.plan.state == "cancelled":  # the house car pays nothing
        return
    for key, jobs in (("search", LOOKED_INTO), ("health", HEALTH), ("sheet", SHEETS), ("race_map", OTHER_FUEL)):
        if job.key in jobs:
            yield key, 1500 if key == "search" else 1000
    if not job.setups:
        return
    yield "session", 1000
    for setup in job.setups[1:]:
        yield "again", 1000
        yield from _work(setup, job.key in OTHER_FUEL)


def _work(setup: SetupTaken, mapped: bool) -> Iterator[tuple[str, int]]:
    said = f"{setup.name} {setup.changed}".lower()
    if "map" in setup.name.lower() and not mapped:
        yield "map", 1000
    if "timing" in setup.name.lower():
        yield "timing", 1000
    if "service" in said:
        yield "service", 1000
    if "plugs" in said:
        yield "plugs", 1000
    hours = max((milli for part, milli in FITTED_MILLI.items() if part in setup.name.lower()), default=0)
    if hours:
        yield "fitting", hours


def payment_of(job: Job, total_cents: int) -> Facts | None:
    """Collected is paid, but for those who owe; nobody else has paid yet."""
    if job.plan.state != "collected" or job.key in UNPAID or total_cents <= 0:
        return None
    share = 2 if job.key in PART_PAID else 1
    way = WAYS[sum(map(ord, job.key)) % len(WAYS)]
    return {"amount_cents": total_cents // share, "way": way, "paid_at": job.moved_at["collected"].isoformat()}
