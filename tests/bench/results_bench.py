"""The customer's page in Chromium: how many bytes, and when something is seen, beside a static page of that size."""

import asyncio
import json
import os
import shutil
import statistics
import time
from collections.abc import Iterator
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from tests.bench.rows import Row
from tests.bench.served import Served
from tests.bench.server import COLD, SELECT

REPEATS = 15
COLD_PULLS = 6
SUSTAINED_S = 3.0
PHONE = {"width": 390, "height": 844}
FIRST_PAINT = """() => new Promise(done => {
  const seen = () => performance.getEntriesByName('first-contentful-paint')[0];
  const look = () => seen() ? done(seen().startTime) : setTimeout(look, 4);
  look();
})"""
IMAGES = (".png", ".jpg", ".webp", ".ico")


def measure(running: Served) -> Iterator[Row]:
    """Size without images, with script off; then first paint of both pages in turn."""
    yield from _cold(running)
    yield from _sustained(running)
    page_url = _published(running)
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"] if as_root else [])
        sizes, words = _loaded(browser, page_url)
        decoded = sum(size for name, size, _ in sizes if not name.endswith(IMAGES))
        sent = sum(size for name, _, size in sizes if not name.endswith(IMAGES))
        note = f"{len(sizes)} requests, {sent / 1000:.1f} kB as sent"
        yield Row("results page before images, without compression", decoded / 1000.0, 60.0, "kB", note=note)
        yield Row("figures on it with script turned off", float(words), 1.0, "", least=True)
        static = running.address(running.client.keep_bare("static.html", _static_page(decoded), "text/html"))
        paints: dict[str, list[float]] = {page_url: [], static: []}
        for _ in range(REPEATS):
            for url, times in paints.items():
                times.append(_first_paint(browser, url))
        ours, bare = (statistics.median(times[2:]) for times in paints.values())
        yield Row("first paint, × static page of that size", ours / bare, 2.0, note=f"{ours:.0f} ms to {bare:.0f} ms")
        browser.close()


def _cold(running: Served) -> Iterator[Row]:
    """A page of a cold database beside a SELECT of the same link and blocks with a template of that size, as cold.

    Once with the finished page still in the process, as when others pushed the file out of memory; once with nothing in
    memory, as in the first minute of a service that was started again. All in turn; the best of each, for what a busy
    machine adds falls on the longer of two more than on the shorter.
    """
    path = _published(running, COLD_PULLS).removeprefix(running.address(""))
    running.client.keep_bare("results.html", running.client.get(path), "text/html")
    ways = {"kept": (b"", path), "nothing": (b"pages", path), "bare": (b"", SELECT)}
    times: dict[str, list[float]] = {name: [] for name in (*ways, "again")}
    for _ in range(REPEATS):
        for name, (forgotten, asked) in ways.items():
            running.client.ask("PUT", COLD, forgotten)
            times[name].append(_taken(running, asked))
            if name == "nothing":
                times["again"].append(_taken(running, asked))
    kept, nothing, bare, again = (min(times[name]) * 1000.0 for name in ("kept", "nothing", "bare", "again"))
    note = f"{COLD_PULLS} pulls; {kept:.0f} ms to {bare:.0f} ms; all in memory {again:.1f} ms"
    yield Row("results page, database cold, × SELECT and template", kept / bare, 3.0, note=note)
    note = f"{nothing:.0f} ms: the curves are read anew"
    yield Row("the same page of a service just started, × SELECT and template", nothing / bare, 3.0, note=note)


def _taken(running: Served, path: str) -> float:
    began = time.perf_counter()
    running.client.get(path)
    return time.perf_counter() - began


def _sustained(running: Served) -> Iterator[Row]:
    """A page of every pull, asked for over and over on eight connections, beside the bare bytes of one."""
    path = _published(running, len(running.pull_ids)).removeprefix(running.address(""))
    began = time.perf_counter()
    body = running.client.get(path)
    first_s = time.perf_counter() - began
    bare = running.client.keep_bare("results.html", body, "text/html")
    floors, ours = [], []
    for _ in range(3):
        floors.append(asyncio.run(asked_for(running.port, bare, SUSTAINED_S)))
        ours.append(asyncio.run(asked_for(running.port, path, SUSTAINED_S)))
    floor, got = statistics.median(floors), statistics.median(ours)
    note = (
        f"{len(body) / 1000:.0f} kB, {len(running.pull_ids)} pulls; bare {floor:.0f}/s; first {first_s * 1000:.0f} ms"
    )
    yield Row("results page, sustained on eight connections", got, min(200.0, 0.5 * floor), "/s", least=True, note=note)


async def asked_for(port: int, path: str, seconds: float, connections: int = 8) -> float:
    """Whole answers a second, every one of them a 200."""
    ends = time.perf_counter() + seconds

    async def one() -> int:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAccept-Encoding: br\r\n\r\n".encode()
        count = 0
        while time.perf_counter() < ends:
            writer.write(request)
            head = await reader.readuntil(b"\r\n\r\n")
            if not head.startswith(b"HTTP/1.1 200"):
                raise RuntimeError(head.decode())
            lines = head.lower().split(b"\r\n")
            length = next(int(line[15:]) for line in lines if line.startswith(b"content-length:"))
            await reader.readexactly(length)
            count += 1
        writer.close()
        return count

    began = time.perf_counter()
    counts = await asyncio.gather(*(one() for _ in range(connections)))
    return sum(counts) / (time.perf_counter() - began)


def _published(running: Served, pulls: int = 6) -> str:
    asked = {"pull_ids": running.pull_ids[:pulls], "standard": "iso_1585", "note": "The intake brings it.", "days": 30}
    path = f"/api/v1/tickets/{running.house.ticket_id}/results-links"
    status, body = running.client.ask("POST", path, json.dumps(asked).encode(), "application/json")
    if status != 201:
        raise RuntimeError(f"{status} {body!r}")
    return str(json.loads(body)["url"])


def _loaded(browser: Browser, url: str) -> tuple[list[Any], int]:
    """What was loaded, as a phone with script turned off loads it, and whether the figures and the curves are there."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    answers: list[Any] = []
    page.on("requestfinished", lambda request: answers.append(request))
    page.goto(url, wait_until="networkidle")
    sizes = [(one.url, len(one.response().body()), one.sizes()["responseBodySize"]) for one in answers]
    there = page.locator("svg path, svg polyline").count() > 0 and "kW" in page.inner_text("body")
    context.close()
    return sizes, int(there)


def _first_paint(browser: Browser, url: str) -> float:
    """Milliseconds from asking for the page to the first of its content, in a fresh profile."""
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(url)
    seen = float(page.evaluate(FIRST_PAINT))
    context.close()
    return seen


def _static_page(size: int) -> bytes:
    head = b'<!doctype html><html lang="en"><meta charset="utf-8"><title>Static</title><body>'
    line = b"<p>Forty-two kilowatts at the wheels and nothing else to say.</p>\n"
    return (head + line * (size // len(line)))[:size]
