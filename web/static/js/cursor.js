// One cursor through all panels: the pointer or the arrow keys choose an engine speed, the readout says every value there.
import { make, pageData } from "./dom.js";

const SHORT = { power: "Power", difference: "Difference", torque: "Torque", pressure: "Manifold" };
const BOUNDS = ["low", "high"]; // of an interval: told beside the value they enclose
const heading = (panel) => (panel.unit === "λ" ? "λ" : `${SHORT[panel.key] ?? panel.title}, ${panel.unit}`);
const caption = (figure, at) => make("caption", {}, `At ${figure.data[0].x[at].toLocaleString("en").replace(",", "\u202f")} rev/min`);
const shownNumber = (value, decimals) => (value === null || value === undefined ? "–" : value.toFixed(decimals).replace("-", "−"));

/** Rows of the readout: one for each line that is not a single pull, with its values by panel. */
function rowsOf(figure) {
  const rows = new Map();
  for (const trace of figure.data) {
    if (trace.meta.kind === "single") continue;
    const name = trace.meta.kind === "asked" ? `${trace.meta.letter} commanded` : trace.meta.letter;
    if (!rows.has(name)) rows.set(name, {});
    rows.get(name)[BOUNDS.includes(trace.meta.kind) ? `${trace.meta.panel} ${trace.meta.kind}` : trace.meta.panel] = trace.y;
  }
  return rows;
}

/** One pull's values: its lines differ by what they are, so each is a column of its own. */
function drawOne(readout, figure, at) {
  const panels = new Map(figure.layout.meta.panels.map((panel) => [panel.key, panel]));
  const cells = figure.data.map((trace) => {
    const panel = panels.get(trace.meta.panel);
    const several = figure.data.filter((other) => other.meta.panel === panel.key).length > 1;
    return { panel, order: [...panels.keys()].indexOf(panel.key), kind: trace.meta.kind, head: heading(panel) + (several ? `: ${trace.meta.label}` : ""), value: trace.y[at] };
  }).sort((one, other) => one.order - other.order || (one.kind === "mean" ? -1 : 1));
  // a list that wraps, not a table: a phone has no room for eight columns
  const said = cells.map((cell) => make("span", {}, make("span", { class: "soft" }, `${cell.head} `), make("b", {}, shownNumber(cell.value, cell.panel.decimals))));
  readout.replaceChildren(make("p", { class: "readout-line" }, make("b", { class: "readout-at" }, caption(figure, at).textContent), ...said));
}

/** A value with the ends of its interval where it has one. */
function shownValue(values, panel, at) {
  if (!values[panel.key]) return "";
  const value = shownNumber(values[panel.key][at], panel.decimals);
  const ends = BOUNDS.map((end) => values[`${panel.key} ${end}`]?.[at]);
  if (ends.some((end) => end === null || end === undefined)) return value;
  return `${value} (${ends.map((end) => shownNumber(end, panel.decimals)).join(" to ")})`;
}

function draw(readout, figure, at) {
  if (figure.layout.meta.one_pull) return drawOne(readout, figure, at);
  const panels = figure.layout.meta.panels;
  const head = make("tr", {}, make("th", { scope: "col" }, "Setup"), ...panels.map((panel) => make("th", { scope: "col", class: "number" }, heading(panel))));
  const body = [...rowsOf(figure)].map(([name, values]) =>
    make("tr", {}, make("th", { scope: "row" }, name), ...panels.map((panel) => make("td", { class: "number" }, shownValue(values, panel, at)))));
  readout.replaceChildren(make("table", {}, caption(figure, at), make("thead", {}, head), make("tbody", {}, ...body, ...differences(figure, at))));
}

/** What each later setup has more or less than the first, panel by panel. */
function differences(figure, at) {
  const means = new Map();
  for (const trace of figure.data) {
    if (trace.meta.kind !== "mean") continue;
    if (!means.has(trace.meta.letter)) means.set(trace.meta.letter, {});
    means.get(trace.meta.letter)[trace.meta.panel] = trace.y[at];
  }
  const [first, ...later] = [...means];
  return later.map(([letter, values]) => {
    const cells = figure.layout.meta.panels.map(({ key, decimals }) => {
      const [one, other] = [first[1][key], values[key]];
      if (one == null || other == null) return make("td", { class: "number" }, "");
      const more = other - one;
      const size = Math.abs(more).toFixed(decimals);
      return make("td", { class: "number" }, Number(size) === 0 ? size : `${more < 0 ? "−" : "+"}${size}`);
    });
    return make("tr", {}, make("th", { scope: "row" }, `${letter} less ${first[0]}`), ...cells);
  });
}

/** Give `host`, a drawn figure, its cursor. Asks the figure anew each time, so a redraw needs no second call. */
export function cursorOn(host, line, readout) {
  let at = null;
  const speeds = () => pageData("figure").data[0].x;
  const place = () => {
    const axis = host._fullLayout?.xaxis;
    if (at === null || !axis) return;
    const figure = pageData("figure");
    at = Math.min(at, figure.data[0].x.length - 1);
    const across = axis._offset + axis.l2p(figure.data[0].x[at]);
    line.hidden = across < axis._offset - 1 || across > axis._offset + axis._length + 1;
    line.style.left = `${across}px`;
    readout.hidden = false;
    draw(readout, figure, at);
  };
  const nearest = (speed) => {
    const all = speeds();
    const step = all[1] - all[0] || 1;
    return Math.max(0, Math.min(all.length - 1, Math.round((speed - all[0]) / step)));
  };
  const follow = (event) => {
    const axis = host._fullLayout?.xaxis;
    if (!axis) return;
    const across = event.clientX - host.getBoundingClientRect().left - axis._offset;
    if (across < 0 || across > axis._length) return;
    at = nearest(axis.p2l(across));
    place();
  };
  host.addEventListener("pointerdown", follow, { capture: true }); // a finger has no place before it presses
  host.addEventListener("pointermove", follow);
  host.addEventListener("keydown", (event) => {
    const last = speeds().length - 1;
    const now = at ?? Math.round(last / 2);
    const next = { ArrowLeft: now - (event.shiftKey ? 10 : 1), ArrowRight: now + (event.shiftKey ? 10 : 1), Home: 0, End: last }[event.key];
    if (next === undefined) return;
    event.preventDefault();
    at = Math.max(0, Math.min(last, next));
    place();
  });
  return {
    place,
    start: () => {
      at ??= Math.round(speeds().length * 0.75);
      place();
    },
  };
}
