// One cursor through all panels: the pointer or the arrow keys choose an engine speed, the readout says every value there.
import { make, pageData } from "./dom.js";

const shownNumber = (value, decimals) => (value === null || value === undefined ? "–" : value.toFixed(decimals).replace("-", "−"));

/** Rows of the readout: one for each line that is not a single pull, with its values by panel. */
function rowsOf(figure) {
  const rows = new Map();
  for (const trace of figure.data) {
    if (trace.meta.kind === "single") continue;
    const name = trace.meta.kind === "asked" ? `${trace.meta.letter} commanded` : trace.name;
    if (!rows.has(name)) rows.set(name, {});
    rows.get(name)[trace.meta.panel] = trace.y;
  }
  return rows;
}

function draw(readout, figure, at) {
  const panels = figure.layout.meta.panels;
  const speed = figure.data[0].x[at];
  const head = make("tr", {}, make("th", { scope: "col" }, ""), ...panels.map((panel) => make("th", { scope: "col", class: "number" }, `${panel.title.split(",")[0]}, ${panel.unit}`)));
  const body = [...rowsOf(figure)].map(([name, values]) =>
    make("tr", {}, make("th", { scope: "row" }, name), ...panels.map((panel) => make("td", { class: "number" }, values[panel.key] ? shownNumber(values[panel.key][at], panel.decimals) : ""))));
  readout.replaceChildren(make("table", {}, make("caption", {}, `At ${speed.toLocaleString("en").replace(",", "\u202f")} rev/min`), make("thead", {}, head), make("tbody", {}, ...body, ...differences(figure, at))));
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
      return make("td", { class: "number" }, `${more < 0 ? "−" : "+"}${Math.abs(more).toFixed(decimals)}`);
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
  host.addEventListener("pointermove", (event) => {
    const axis = host._fullLayout?.xaxis;
    if (!axis) return;
    const across = event.clientX - host.getBoundingClientRect().left - axis._offset;
    if (across < 0 || across > axis._length) return;
    at = nearest(axis.p2l(across));
    place();
  });
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
