// The chart's readout: a finger, a mouse or the arrow keys choose an engine speed, and the bold lines' values are said.
// Everything it says comes from the page, in the page's language; without it the page lacks nothing but this.
const holder = document.getElementById("explored");
const figure = document.getElementById("chart");
const svg = figure?.querySelector(".plot > svg");

function made(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

function explore({ sides, speeds, said, lines, words }) {
  const [left, right, top, foot] = sides;
  const first = speeds[0];
  const span = speeds[speeds.length - 1] - first || 1;
  const x = (place) => left + ((speeds[place] - first) / span) * (right - left);
  const tall = svg.viewBox.baseVal.height - foot;

  const mark = document.createElementNS("http://www.w3.org/2000/svg", "path");
  mark.setAttribute("class", "reading-line");
  svg.append(mark);

  const slider = made("input", { type: "range", min: 0, max: speeds.length - 1, step: 1, id: "explore-speed" });
  const output = made("p", { class: "reading", "aria-hidden": "true" });
  const label = made("label", { for: "explore-speed", class: "small soft" }, words.speed);

  function textAt(place) {
    const by = new Map();
    for (const line of lines) {
      const value = line.values[place];
      by.set(line.letter, [...(by.get(line.letter) ?? []), value ? `${value}\u00a0${line.unit}` : words.none]);
    }
    return [...by].map(([letter, values]) => `${letter}: ${values.join(", ")}`);
  }

  function show() {
    const place = Number(slider.value);
    const texts = textAt(place);
    const speed = words.values.replace("{speed}", said[place]);
    mark.setAttribute("d", `M${x(place).toFixed(1)} ${top}V${tall}`);
    slider.setAttribute("aria-valuetext", `${speed}. ${texts.join(". ")}`);
    output.replaceChildren(made("strong", {}, speed), ...texts.map((text) => made("span", {}, text)));
  }

  function follow(event) {
    const box = svg.getBoundingClientRect();
    const at = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
    const share = Math.min(1, Math.max(0, (at - left) / (right - left)));
    const wanted = first + share * span;
    const step = speeds.length > 1 ? speeds[1] - speeds[0] : 1;
    slider.value = Math.min(speeds.length - 1, Math.max(0, Math.round((wanted - first) / step)));
    show();
  }

  svg.addEventListener("pointermove", follow);
  svg.addEventListener("pointerdown", follow);
  slider.addEventListener("input", show);
  slider.value = Math.round(speeds.length / 2);

  const controls = made("div", { class: "explore no-print" }, label, slider, output);
  figure.querySelector(".plot").after(controls);
  controls.append(fullScreen(words));
  show();
}

/** The chart alone, as large as the screen; closer and wider pull it apart along the speeds. Escape leads back. */
function fullScreen(words) {
  const plot = figure.querySelector(".plot");
  const open = made("button", { type: "button" }, words.open);
  const close = made("button", { type: "button" }, words.close);
  const closer = made("button", { type: "button" }, words.closer);
  const wider = made("button", { type: "button" }, words.wider);
  const row = made("p", { class: "row" }, closer, wider, close);
  const dialog = made("dialog", { class: "whole-screen", "aria-label": words.open });
  const place = document.createComment("");
  let step = 0;

  function zoom(by) {
    step = Math.min(2, Math.max(0, step + by));
    plot.classList.toggle("twice", step === 1);
    plot.classList.toggle("four-times", step === 2);
    closer.disabled = step === 2;
    wider.disabled = step === 0;
  }

  open.addEventListener("click", () => {
    figure.before(place);
    dialog.append(figure, row);
    document.body.append(dialog);
    open.hidden = true;
    plot.tabIndex = 0;
    zoom(0);
    dialog.showModal();
    close.focus();
  });
  close.addEventListener("click", () => dialog.close());
  closer.addEventListener("click", () => zoom(1));
  wider.addEventListener("click", () => zoom(-1));
  dialog.addEventListener("close", () => {
    zoom(-2);
    plot.removeAttribute("tabindex");
    place.replaceWith(figure);
    dialog.remove();
    open.hidden = false;
    open.focus();
  });
  return open;
}

if (holder && svg) {
  const told = JSON.parse(holder.textContent);
  explore(told);
  const print = made("button", { type: "button" }, told.print);
  print.addEventListener("click", () => window.print());
  document.querySelector("main").append(made("p", { class: "no-print" }, print));
}
