// The comparison: every choice goes into the address, the page's parts come fresh from the server, the chart follows.
import { drawFigure, savePng } from "../chart.js";
import { cursorOn } from "../cursor.js";
import { make, refresh } from "../dom.js";
import { bandOn } from "./band.js";

const byId = (id) => document.getElementById(id);
const choice = byId("choice");
let cursor = null;
let shown = location.search;

function address() {
  const query = new URLSearchParams();
  for (const [name, value] of new FormData(choice)) if (value.trim() !== "") query.append(name, value.trim());
  return `${choice.getAttribute("action")}?${query}`;
}

async function draw() {
  const host = byId("plot");
  if (!host || !byId("figure")) return;
  try {
    await drawFigure(host);
  } catch {
    host.hidden = true; // the server's drawing stands
    return;
  }
  cursor = cursorOn(host, byId("cursor"), byId("readout"));
  const band = bandOn(host.closest(".drawing"), host, judgeOver);
  for (const happened of ["plotly_relayout", "plotly_afterplot"]) {
    host.on(happened, cursor.place);
    if (band) host.on(happened, band.place);
  }
  cursor.start();
  byId("png").hidden = false;
}

/** The band was moved on the chart: it goes into the form, and from there the way of every choice. */
function judgeOver(low, high) {
  byId("band_low_rpm").value = low;
  byId("band_high_rpm").value = high;
  follow();
}

function tidy() {
  const link = byId("this-address");
  if (link) link.textContent = location.href;
}

/** Say here why a choice will not do; what is shown and what is typed stay. */
async function refused(address) {
  const answer = await fetch(address, { credentials: "same-origin", headers: { Accept: "text/html" } }).catch(() => null);
  if (answer?.redirected) return location.assign(address); // signed out meanwhile
  const page = answer && new DOMParser().parseFromString(await answer.text(), "text/html");
  const words = page?.querySelector("main p")?.textContent ?? "The service could not be reached. Try again.";
  byId("choosing").open = true;
  byId("choice").querySelector(".form-problem")?.remove();
  byId("choice").prepend(make("p", { class: "form-problem bad", role: "alert" }, words, " What is shown is as before."));
}

async function follow() {
  const next = address();
  byId("overlay").setAttribute("aria-busy", "true");
  if (!(await refresh(["first-words", "chosen-words", "overlay"], next))) {
    byId("overlay").removeAttribute("aria-busy");
    await refused(next);
    return;
  }
  choice.querySelector(".form-problem")?.remove();
  history.pushState(null, "", next);
  shown = location.search;
  tidy();
  draw();
}

choice.addEventListener("change", (event) => {
  if (event.target.name === "also") location.assign(address()); // further pulls to choose from: a page of its own
  else follow();
});
// back goes to the choice before; a jump within the page is no choice
window.addEventListener("popstate", () => {
  if (location.search !== shown) location.reload();
});
choice.addEventListener("submit", (event) => {
  event.preventDefault();
  follow();
});
document.addEventListener("click", (event) => {
  if (event.target.id === "png") savePng(byId("plot"), "comparison.png");
});
document.addEventListener("sheet-changed", draw);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
byId("choice-button").hidden = true;
if (!location.search.includes("standard=") && byId("figure")) history.replaceState(null, "", address());
shown = location.search;
tidy();
draw();
