// The comparison: every choice goes into the address, the page's parts come fresh from the server, the chart follows.
import { drawFigure, savePng } from "../chart.js";
import { cursorOn } from "../cursor.js";
import { refresh } from "../dom.js";

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
  host.on("plotly_relayout", cursor.place);
  host.on("plotly_afterplot", cursor.place);
  cursor.start();
  byId("png").hidden = false;
}

function tidy() {
  const link = byId("this-address");
  if (link) link.textContent = location.href;
}

async function follow() {
  const next = address();
  byId("overlay").setAttribute("aria-busy", "true");
  if (!(await refresh(["first-words", "overlay"], next))) {
    location.assign(next); // the refusal has a page of its own
    return;
  }
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
