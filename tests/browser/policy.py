"""What the browser tests look for on every page: nothing against the content policy, nothing against accessibility."""

from typing import Any

from axe_playwright_python.sync_playwright import Axe

WATCH = """
window.refused = [];
addEventListener("securitypolicyviolation", (event) =>
    window.refused.push(`${event.effectiveDirective} ${event.blockedURI} ${event.sample}`));
"""
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def watch(page: Any) -> Any:
    """Note from now on whatever the page's own policy refuses."""
    page.add_init_script(WATCH)
    return page


def refused(page: Any) -> list[str]:
    """What the policy refused on the page shown."""
    return page.evaluate("window.refused")


def faults(page: Any) -> list[str]:
    """What axe finds, target size included: rule, how often, where first."""
    options = {"runOnly": {"type": "tag", "values": TAGS}, "rules": {"target-size": {"enabled": True}}}
    found = Axe().run(page, options=options).response["violations"]
    return [
        f"{one['id']} ×{len(one['nodes'])}: {one['nodes'][0]['html'][:160]} {one['nodes'][0]['failureSummary'][:200]}"
        for one in found
    ]


def spills(page: Any) -> bool:
    """Whether the page scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
