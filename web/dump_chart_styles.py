"""Write web/static/css/plotly.css: the rules that the chart library would put into the page itself, which our policy forbids.

Run after a new version of plotly: `python web/dump_chart_styles.py`. Needs playwright and a Chromium.
"""

import importlib.util
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

TARGET = Path(__file__).parent / "static" / "css" / "plotly.css"
RULES = """() => [...document.getElementById("plotly.js-style-global").sheet.cssRules].map((rule) => rule.cssText)"""


def main(chromium: str = "/usr/bin/chromium") -> None:
    """Load the installed bundle in a browser and keep the rules of its own style element."""
    spec = importlib.util.find_spec("plotly")
    if spec is None or spec.origin is None:
        sys.exit("plotly is not installed here")
    bundle = Path(spec.origin).parent / "package_data" / "plotly.min.js"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page()
        page.set_content("<!doctype html><title>styles</title>")
        page.add_script_tag(path=bundle)
        version = page.evaluate("Plotly.version")
        rules = page.evaluate(RULES)
        browser.close()
    head = f"/* Rules of plotly.js {version} (MIT licence, Plotly, Inc.), written by web/dump_chart_styles.py. */\n"
    TARGET.write_text(head + "\n".join(rules) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
