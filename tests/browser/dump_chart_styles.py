"""Keep the chart library's styles as files of ours, because our policy forbids what it would put into the page itself.

Writes web/static/css/plotly.css (the rules of its one style element) and web/templates/cell/chart_styles.html (the link
it looks for instead, and a stand-in for each other element it would add: styles of maps, which no chart here is).
Run after a new version of plotly: `python tests/browser/dump_chart_styles.py`. Needs playwright and a Chromium.
"""

import importlib.util
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

WEB = Path(__file__).resolve().parents[2] / "web"
RULES = """() => [...document.getElementById("plotly.js-style-global").sheet.cssRules].map((rule) => rule.cssText)"""
OTHERS = """() => [...document.querySelectorAll("style[id]")]
    .map((one) => one.id).filter((id) => !id.startsWith("plotly.js"))"""
LINK = (
    """<link rel="stylesheet" href="{{ asset('css/plotly.css') }}" """
    """id="plotly.js-style-global" class="no-inline-styles">"""
)


def main(chromium: str = "/usr/bin/chromium") -> None:
    """Load the installed bundle in a browser and keep what it adds."""
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
        rules, others = page.evaluate(RULES), page.evaluate(OTHERS)
        browser.close()
    told = f"of plotly.js {version} (MIT licence, Plotly, Inc.), written by tests/browser/dump_chart_styles.py."
    css = f"/* Rules {told} */\n" + "\n".join(rules) + "\n"
    (WEB / "static" / "css" / "plotly.css").write_text(css, encoding="utf-8")
    stand_ins = [f'<meta name="chart-styles-left-out" content="maps" id="{one}">' for one in others]
    partial = "\n".join([f"{{# Styles {told} #}}", LINK, *stand_ins]) + "\n"
    (WEB / "templates" / "cell" / "chart_styles.html").write_text(partial, encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
