"""Requests that reach as far into the service as can be: every id in them is that of a record which is there."""

import re
import struct
import zlib

from tests.api.pull_files import UNCLEAR_COLUMNS, Steady, filed
from tests.furnishing import made
from tests.house.sample_requests import UNKNOWN_ID


def one_dot():
    """A picture of one grey dot, as a PNG (ISO/IEC 15948)."""

    def chunk(name, body):
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0\x80")) + chunk(b"IEND", b"")


class Fitting:
    """Fills operations of the description with ids of records that are there, where it has made one of their kind."""

    def __init__(self, client, house):
        pull = filed(client, house, Steady().csv())
        saved = made(client.post("/api/v1/channel-maps", json={"name": "Plain", "columns": UNCLEAR_COLUMNS}))
        wanted = {"pull_ids": [pull["id"]], "standard": "iso_1585"}
        link = made(client.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=wanted))
        charged = {"name": "Tuning", "unit_price_cents": 100}
        lines = made(client.post(f"/api/v1/tickets/{house.ticket_id}/charges", json=charged))
        paid = {"amount_cents": 100, "way": "cash"}
        payments = made(client.post(f"/api/v1/tickets/{house.ticket_id}/payments", json=paid))
        item = made(client.post("/api/v1/price-items", json={"name": "Hour", "unit_price_cents": 100}))
        device = made(client.post("/api/v1/devices", json={"name": "Cell PC", "cell_id": house.cell_id}))
        joined = client.post(
            f"/api/v1/pulls/{pull['id']}/joined-files?file_name=second.csv", content=Steady(gain_rad_s2=7.0).csv()
        )
        picture = {"file_name": "front.png"}
        photo = client.post(f"/api/v1/tickets/{house.ticket_id}/photos", params=picture, content=one_dot())
        waivers, lists = client.get("/api/v1/waivers").json(), client.get("/api/v1/checklists").json()
        self.ids = {
            "photo_id": made(photo)["id"],
            "version_id": waivers["items"][0]["id"],
            "waiver_version_id": waivers["items"][0]["id"],
            "list_id": lists["items"][0]["id"],
            "checklist_id": lists["items"][0]["id"],
            "charge_id": lines["charges"][0]["id"],
            "payment_id": payments["payments"][0]["id"],
            "item_id": item["id"],
            "device_id": device["id"],
            "joined_id": made(joined)["id"],
            "calibration_id": house.calibration_id,
            "ticket_id": house.ticket_id,
            "setup_id": house.setup_id,
            "cell_id": house.cell_id,
            "customer_id": house.customer_id,
            "vehicle_id": house.vehicle_id,
            "reading_id": house.weather_id,
            "pull_id": pull["id"],
            "pull_ids": pull["id"],
            "map_id": saved["id"],
            "channel_map_id": saved["id"],
            "link_id": link["id"],
        }

    def address(self, operation, instead=None):
        """The path with those ids and what the query needs; `instead`: one part of the query, as it is to be sent."""
        path = re.sub(r"\{(\w+)\}", lambda found: self.ids.get(found.group(1), UNKNOWN_ID), operation.path)
        parts = []
        for one in operation.told.get("parameters", []):
            if one["in"] == "query" and one.get("required") and one["name"] != (instead or "").partition("=")[0]:
                fit = self.ids.get(one["name"]) or operation.fit(one["schema"], one["name"])
                parts.append(f"{one['name']}={fit}".replace("+", "%2B"))
        query = "&".join([*parts, *([instead] if instead else [])])
        return path + (f"?{query}" if query else "")

    def questions(self, operation):
        """The names of what may be asked in the query."""
        return [one["name"] for one in operation.told.get("parameters", []) if one["in"] == "query"]

    def body(self, operation):
        """A body that fits and names records that are there; None where there is none."""
        body = operation.sample_body()
        if isinstance(body, dict):
            for name in set(body) & set(self.ids):
                body[name] = [self.ids[name]] if isinstance(body[name], list) else self.ids[name]
        return body

    def bodies(self, operation):
        """For each field of the body its name, and a fitting body without it."""
        shape = operation.body_shape
        if "$ref" in shape:
            shape = operation.components[shape["$ref"].rpartition("/")[2]]
        body = self.body(operation)
        for field in shape.get("properties", {}):
            yield field, {name: value for name, value in body.items() if name != field}
