"""The demo inside its environment: migrate, serve, fill over the API, say where to look, keep serving."""

import shutil
import signal
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from seed_demo.filling import Filled, Filling, sign_everybody_in
from seed_demo.folder import DemoError, Folder
from seed_demo.people import SHOP_NAME, STAFF
from seed_demo.progress import Progress
from seed_demo.run import HOUSE, asked
from seed_demo.serving import Running, last_words_of, migrate, service
from seed_demo.speaking import Voice
from seed_demo.year import the_year

DEMO = HOUSE / ".demo"


def main(arguments: list[str], place: Path = DEMO) -> int:
    """0 when all went well."""
    words, folder = asked(arguments), Folder(place)
    folder.make()
    with folder.held():
        if words.fresh:
            folder.clear()
        migrate(folder, words.port)
        year = the_year(folder.began_at(), small=words.small)
        with service(folder, words.port) as running:
            address = running.address
            hands = sign_everybody_in(address, folder, words.port)
            progress = Progress(year.pulls + len(year.jobs), "Sending a year")
            filled = Filling(hands, year, folder).all(progress)
            progress.done()
            read_figures(hands.owner)
            look_at_pages(hands.owner, address, filled)
            hands.close()
            ends = f"{year.began_at.day} {year.began_at:%B %Y}"
            print(f"\n{SHOP_NAME}, a year up to {ends}: {where_to_look(address, folder, filled)}", flush=True)
            if datetime.now(UTC) - year.began_at > timedelta(hours=20):
                print("\nIts board is of that day; --fresh makes a year that ends today.")
            if not words.once:
                print("\nServing until Ctrl-C.", flush=True)
                _until_told_to_stop(running)
    return 0


def read_figures(signed_in: Voice) -> None:
    """Every pull is found by what it gave, as in a shop that has looked into its archive before."""
    told = {"read": 1, "due": 1}
    while told["read"] and told["due"]:
        told = signed_in.post("/archive/figures", {})


def look_at_pages(signed_in: Voice, address: str, filled: Filled) -> None:
    """Every main page answers, or it is said which does not."""
    nobody = Voice(address)
    pages = {path: signed_in for path in ("/", "/tickets/new", "/weather", "/cells")}
    pages |= {filled.ticket_path: signed_in, filled.pull_path: signed_in, filled.comparison_path: signed_in}
    for path, voice in (pages | {filled.results_path: nobody, "/sign-in": nobody}).items():
        answer = voice.page(path)
        if answer.status_code != 200:
            raise DemoError(f"{address}{path} answers {answer.status_code}; it should be 200.")
    nobody.close()


def where_to_look(address: str, folder: Folder, filled: Filled) -> str:
    """The address, a sign-in for each role, a customer's link and a comparison."""
    passwords = folder.passwords()
    width = max(20, shutil.get_terminal_size().columns - 1)
    lines = [address, ""]
    lines += [f"  {person.role:<11}{person.sign_in_name:<18}{passwords[person.sign_in_name]}" for person in STAFF]
    lines += [f"  (kept in {folder.sign_ins})"[:width], ""]
    lines += [f"A customer's page, no sign-in:  {address}{filled.results_path}"]
    lines += [f"The comparison behind it:       {address}{filled.comparison_path}"]
    return "\n".join(lines)


def _until_told_to_stop(running: Running) -> None:
    try:
        while not running.wait(1.0):
            pass
    except KeyboardInterrupt:
        print("\nStopped. The demo is kept; run it again to go on with it.")
        return
    raise DemoError(f"The service stopped by itself: {last_words_of(running.log)}\nAll it said: {running.log}")


def _told_to_stop(*_: object) -> None:
    raise KeyboardInterrupt


if __name__ == "__main__":
    for name in ("SIGTERM", "SIGHUP"):  # a closed terminal must not leave the service behind
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _told_to_stop)
    try:
        sys.exit(main(sys.argv[1:]))
    except DemoError as problem:
        sys.exit(str(problem))
    except KeyboardInterrupt:
        sys.exit("\nStopped half way; run it again and it goes on from here.")
