// From the figure that the page carries to a drawing one can move in. The server's own drawing stays until this one stands.
import { pageData } from "./dom.js";

const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** The chart library once it has come; it loads beside the page and may be late. */
export function library() {
  if (window.Plotly) return Promise.resolve(window.Plotly);
  const script = document.getElementById("chart-library");
  return new Promise((resolve, reject) => {
    if (!script) return reject(new Error("no chart library on this page"));
    script.addEventListener("load", () => resolve(window.Plotly));
    script.addEventListener("error", reject);
    if (window.Plotly) resolve(window.Plotly);
  });
}

function painted(figure, width) {
  const ink = token("--ink");
  const soft = token("--ink-soft");
  const axis = { gridcolor: token("--grid-strong"), linecolor: token("--rule-strong"), zerolinecolor: token("--rule-strong"), tickcolor: token("--rule-strong"), tickfont: { color: soft } };
  const layout = structuredClone(figure.layout);
  for (const key of Object.keys(layout)) {
    if (/^[xy]axis\d*$/.test(key)) Object.assign(layout[key], axis);
  }
  layout.xaxis.gridcolor = token("--grid-fine");
  layout.xaxis.showspikes = false; // the page has a cursor of its own, for keys and fingers too
  layout.font = { family: token("--sans"), color: ink, size: width < 500 ? 11 : 13 };
  if (matchMedia("(pointer: coarse)").matches) layout.dragmode = false; // a finger moves the cursor and scrolls the page
  layout.paper_bgcolor = "rgba(0,0,0,0)";
  layout.plot_bgcolor = "rgba(0,0,0,0)";
  if (width < 500) layout.margin = { ...layout.margin, l: 48, r: 20, t: 44 };
  const data = figure.data.map((trace) => ({
    ...trace, hoverinfo: "none", hovertemplate: undefined, line: { ...trace.line, color: token(`--setup-${trace.meta.style}`) },
    ...(trace.fill ? { fillcolor: token(`--setup-${trace.meta.style}`) + trace.fillcolor.slice(7) } : {}),
  }));
  const named = (words) => (width < 500 ? words.replace(" – ", "<br>") : words); // which line is which: under the name
  const title = { family: token("--serif"), color: ink, size: width < 500 ? 13 : 15, weight: 600 };
  layout.annotations = [...layout.annotations.map((one) => ({ ...one, text: named(one.text), align: "left", font: title })), ...endLetters(data)];
  return { data, layout };
}

/** Each setup's letter at the end of its bold line, moved apart where lines end close together. */
function endLetters(data) {
  const ends = data.filter((trace) => trace.meta.kind === "mean").map((trace) => {
    const at = trace.y.findLastIndex((value) => value !== null);
    const known = trace.y.filter((value) => value !== null);
    return at < 0 ? null : { trace, x: trace.x[at], y: trace.y[at], span: Math.max(...known) - Math.min(...known) || 1 };
  }).filter(Boolean);
  return ends.map((end) => {
    const below = ends.filter((other) => other !== end && other.trace.yaxis === end.trace.yaxis && Math.abs(other.y - end.y) < end.span * 0.08);
    const rank = below.filter((other) => other.y > end.y || (other.y === end.y && ends.indexOf(other) < ends.indexOf(end))).length;
    const shift = below.length ? (rank * 2 - below.length) * 8 : 0;
    return {
      x: end.x, y: end.y, xref: "x", yref: end.trace.yaxis, text: end.trace.meta.letter, showarrow: false, xanchor: "left", xshift: 4,
      yshift: -shift, font: { color: end.trace.line.color, size: 14, weight: 700 },
    };
  });
}

/** Draw the page's figure into `host`, in the colours of the sheet; the server's drawing gives way. */
export async function drawFigure(host) {
  const figure = pageData("figure");
  if (!figure) return null;
  const Plotly = await library();
  host.hidden = false;
  const { data, layout } = painted(figure, host.clientWidth);
  layout.height = figure.layout.meta.panels.length * (host.clientWidth < 500 ? 160 : 190) + 100;
  await Plotly.react(host, data, layout, { displaylogo: false, displayModeBar: false, responsive: true, doubleClick: "reset", scrollZoom: false });
  host.closest(".drawing").querySelector("[data-drawn]").classList.add("taken-over");
  return figure;
}

/** The figure as a PNG of paper, for a mail or a sheet. */
export async function savePng(host, name) {
  const Plotly = await library();
  const paper = { ...host.layout, paper_bgcolor: token("--sheet") };
  const address = await Plotly.toImage({ data: host.data, layout: paper }, { format: "png", width: 1200, height: 1000, scale: 2 });
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
}
