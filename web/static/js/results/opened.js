// Tell the shop that its link was looked at: once somebody sees the page, a count and a day, nothing about who.
// A page that is only fetched ahead, drawn in the background or turned into a small picture tells nothing.
const whenIdle = window.requestIdleCallback ?? ((run) => setTimeout(run, 500));

function tell() {
  fetch(`${location.pathname.replace(/\/$/, "")}/opened`, { method: "POST", credentials: "same-origin", keepalive: true }).catch(() => null);
}

function onceSeen() {
  if (document.visibilityState === "visible" && !document.prerendering) {
    document.removeEventListener("visibilitychange", onceSeen);
    document.removeEventListener("prerenderingchange", onceSeen);
    whenIdle(tell);
  }
}

if (!document.documentElement.hasAttribute("data-preview")) {
  document.addEventListener("visibilitychange", onceSeen);
  document.addEventListener("prerenderingchange", onceSeen);
  onceSeen();
}
