// Any drawing on a page as a picture of its own: SVG with every style written out, or PNG made from it in the browser.
// The service draws no PNG: it has no letters of its own, a browser has.
import { make } from "./dom.js";

const KEPT = [
  "fill", "fill-opacity", "stroke", "stroke-width", "stroke-dasharray", "stroke-linejoin", "stroke-linecap", "stroke-opacity", "opacity",
  "font-family", "font-size", "font-weight", "font-style", "text-anchor", "paint-order",
];
const TIMES = 2; // a PNG's points for each of the drawing's

/** A drawing as it looks here, needing nothing beside it. */
export function standing(svg) {
  const copy = svg.cloneNode(true);
  const here = [svg, ...svg.querySelectorAll("*")];
  [copy, ...copy.querySelectorAll("*")].forEach((one, place) => {
    const look = getComputedStyle(here[place]);
    if (!["title", "desc"].includes(one.localName)) for (const name of KEPT) one.setAttribute(name, look.getPropertyValue(name));
    for (const name of ["class", "style", "id", "tabindex"]) one.removeAttribute(name);
  });
  const { width, height } = svg.viewBox.baseVal;
  copy.setAttribute("width", width);
  copy.setAttribute("height", height);
  copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  const paper = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  const sheet = getComputedStyle(document.documentElement).getPropertyValue("--sheet").trim();
  for (const [name, value] of Object.entries({ width: "100%", height: "100%", fill: sheet, stroke: "none" })) paper.setAttribute(name, value);
  copy.querySelector("title") ? copy.querySelector("title").after(paper) : copy.prepend(paper);
  return { text: new XMLSerializer().serializeToString(copy), width, height };
}

function save(blob, name) {
  const link = make("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

const named = (svg) => {
  const words = svg.querySelector("title")?.textContent.split(";")[0] || document.title;
  return words.toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "").slice(0, 60) || "drawing";
};

export function saveSvg(svg) {
  save(new Blob([standing(svg).text], { type: "image/svg+xml" }), `${named(svg)}.svg`);
}

export async function savePicture(svg) {
  const { text, width, height } = standing(svg);
  const address = URL.createObjectURL(new Blob([text], { type: "image/svg+xml" }));
  const drawn = new Image(width * TIMES, height * TIMES);
  drawn.src = address;
  await drawn.decode();
  const canvas = make("canvas", { width: width * TIMES, height: height * TIMES });
  canvas.getContext("2d").drawImage(drawn, 0, 0, canvas.width, canvas.height);
  URL.revokeObjectURL(address);
  canvas.toBlob((blob) => save(blob, `${named(svg)}.png`), "image/png");
}

/** Two buttons beneath each drawing that has none yet; the overlay has its own, made by the server. */
function offer() {
  for (const figure of document.querySelectorAll("figure.chart:not([data-drawn], [data-offered])")) {
    const svg = figure.querySelector("svg:not(.key)");
    if (!svg?.viewBox.baseVal?.width) continue;
    figure.dataset.offered = "";
    const what = named(svg).replaceAll("-", " ");
    const button = (kind, run) => {
      const made = make("button", { type: "button", class: "link-button", "aria-label": `${kind}: ${what}` }, kind);
      made.addEventListener("click", () => run(svg));
      return made;
    };
    figure.append(make("div", { class: "row no-print picture" }, button("SVG", saveSvg), button("PNG", savePicture)));
  }
}

offer();
document.addEventListener("refreshed", offer);
