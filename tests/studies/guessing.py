"""`python -m tests.studies.guessing [10000]`: what somebody learns who guesses the addresses of results.

Guesses of four kinds in turn: at random, a live link with one letter changed, a link that ran out, one that the shop
ended. Every answer is held against the others in status, body and headers; the times are printed by kind, with the
two-sample Kolmogorov–Smirnov test of each kind against the guesses at random (common practice; scipy's).
"""

import logging
import random
import secrets
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from scipy.stats import ks_2samp

from pullbook.shop.opening import MISSES_BY_ADDRESS
from tests.api.pull_files import Steady, filed
from tests.conftest import Clock, first_owner_token, migrate_to_head, serving, settings_for
from tests.furnishing import furnish, hire

FRESH = ("x-request-id",)  # of every answer anew
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"


@contextmanager
def shop(folder: Path) -> Iterator[tuple[Any, Clock, dict[str, str]]]:
    """A client of a shop with three links, the clock, and the tokens by kind."""
    settings = settings_for(f"sqlite:///{folder}/guess.sqlite3", folder)
    migrate_to_head(settings)
    token, clock = first_owner_token(settings), Clock()
    with serving(settings, clock) as (_, client):
        hire(client, token)
        house = furnish(client)
        pull = filed(client, house, Steady(gain_rad_s2=8.0).csv())["id"]
        tokens = {}
        for kind, days in (("live", 3000), ("ended", 1), ("revoked", 3000)):
            asked = {"pull_ids": [pull], "standard": "iso_1585", "days": days}
            made = client.post(f"/api/v1/tickets/{house.ticket_id}/results-links", json=asked).json()
            tokens[kind] = made["url"].rpartition("/r/")[2]
            if kind == "revoked":
                client.delete(f"/api/v1/results-links/{made['id']}")
        client.cookies.clear()
        clock.advance(days=2)
        yield client, clock, tokens


def guesses(tokens: dict[str, str], count: int, chance: random.Random) -> Iterator[tuple[str, str]]:
    """Kind and token, the kinds in turn."""
    for number in range(count):
        kind = ("at random", "one letter off", "ended", "revoked")[number % 4]
        token = tokens.get(kind, secrets.token_urlsafe(32))
        if kind == "one letter off":
            place = chance.randrange(42)  # the last letter holds two idle bits
            other = chance.choice(LETTERS.replace(tokens["live"][place], ""))
            token = tokens["live"][:place] + other + tokens["live"][place + 1 :]
        yield kind, token


def told(answer: Any) -> tuple[Any, ...]:
    """All of an answer but its own number."""
    headers = tuple(sorted((name, value) for name, value in answer.headers.items() if name not in FRESH))
    return answer.status_code, answer.content, headers


def study(count: int, folder: Path) -> tuple[dict[str, set[Any]], dict[str, list[float]], list[int]]:
    """Answers and seconds by kind while the limit leaves room; then the statuses of a burst that it does not."""
    answers, seconds = defaultdict(set), defaultdict(list)
    with shop(folder) as (client, clock, tokens):
        for kind, token in guesses(tokens, count, random.Random(11)):
            clock.advance(seconds=MISSES_BY_ADDRESS.seconds_each)
            began = time.perf_counter()
            answer = client.get(f"/r/{token}")
            seconds[kind].append(time.perf_counter() - began)
            answers[kind].add(told(answer))
        burst = [client.get(f"/r/{secrets.token_urlsafe(32)}").status_code for _ in range(60)]
        good = client.get(f"/r/{tokens['live']}").status_code
    return answers, seconds, [*burst, good]


def main(count: int) -> int:
    """Print the study; 1 where any two answers could be told apart by more than time."""
    logging.disable(logging.WARNING)
    with tempfile.TemporaryDirectory() as folder:
        answers, seconds, statuses = study(count, Path(folder))
    apart = set().union(*answers.values())
    print(f"{sum(map(len, seconds.values()))} guesses, {len(apart)} answer(s) in status, body and headers")
    for kind, times in seconds.items():
        cuts = statistics.quantiles(times, n=20)
        found = ks_2samp(times, seconds["at random"])
        print(
            f"  {kind:<15} median {1000 * statistics.median(times):.3f} ms, 5–95 % {1000 * cuts[0]:.3f} to "
            f"{1000 * cuts[-1]:.3f} ms, D = {found.statistic:.3f}, p = {found.pvalue:.2f}"
        )
    burst = statuses[:-1]
    print(f"a burst of 60: {burst.count(404)} × 404, {burst.count(429)} × 429; a good link then: {statuses[-1]}")
    return 0 if len(apart) == 1 and statuses[-1] == 200 else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000))
