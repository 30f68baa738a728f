// The band that is judged, on the chart: two handles to drag or to move by keys; let go, and the page is judged anew.
import { make, settled } from "../dom.js";

const ENDS = [
  { key: "low", words: "Where the judged band begins, rev/min" },
  { key: "high", words: "Where the judged band ends, rev/min" },
];
const spoken = (speed) => `${Math.round(speed)} rev/min`;
let held = null; // the handle that keys were on, so that it has them again on the page's fresh parts
document.addEventListener("pointerdown", () => { held = null; });

/** What the server says of the band: where it lies, how far it may go, in which steps. */
function told(drawing) {
  const { bandLow, bandHigh, bandLeast, bandMost, bandStep } = drawing.dataset;
  if (bandLow === undefined) return null;
  return { low: Number(bandLow), high: Number(bandHigh), least: Number(bandLeast), most: Number(bandMost), step: Number(bandStep) };
}

/** One end moved to a speed: on a whole step, within reach, and never past the other end. */
function moved(band, key, speed) {
  const [from, to] = key === "low" ? [band.least, band.high - 2 * band.step] : [band.low + 2 * band.step, band.most];
  const stepped = Math.round(speed / band.step) * band.step;
  return { ...band, [key]: Math.max(from, Math.min(to, stepped)) };
}

/** Give `host`, a drawn figure, the band's handles. `judge(low, high)` is called once they rest. Null without a band. */
export function bandOn(drawing, host, judge) {
  let band = told(drawing);
  if (!band || !host._fullLayout) return null;
  const began = band;
  const shade = make("div", { class: "band-shade", "aria-hidden": "true" });
  const handles = ENDS.map(({ key, words }) =>
    make("div", { class: `band-handle band-${key}`, role: "slider", tabindex: "0", "aria-label": words, "aria-orientation": "horizontal" }));
  const rest = () => {
    if (band.low !== began.low || band.high !== began.high) judge(band.low, band.high);
  };
  const restSoon = settled(rest, 700);

  const place = () => {
    const { xaxis, _size } = host._fullLayout;
    const across = (speed) => xaxis._offset + Math.max(0, Math.min(xaxis._length, xaxis.l2p(speed)));
    const [left, right] = [across(band.low), across(band.high)];
    for (const part of [shade, ...handles]) Object.assign(part.style, { top: `${_size.t}px`, height: `${_size.h}px` });
    Object.assign(shade.style, { left: `${left}px`, width: `${right - left}px` });
    handles.forEach((handle, at) => {
      const { key } = ENDS[at];
      handle.style.left = `${key === "low" ? left : right}px`;
      handle.setAttribute("aria-valuenow", band[key]);
      handle.setAttribute("aria-valuemin", key === "low" ? band.least : band.low);
      handle.setAttribute("aria-valuemax", key === "low" ? band.high : band.most);
      handle.setAttribute("aria-valuetext", spoken(band[key]));
    });
  };
  const move = (key, speed) => {
    band = moved(band, key, speed);
    place();
  };

  handles.forEach((handle, at) => {
    const { key } = ENDS[at];
    handle.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      event.stopPropagation();
      handle.setPointerCapture(event.pointerId);
      handle.focus();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const { xaxis } = host._fullLayout;
      move(key, xaxis.p2l(event.clientX - host.getBoundingClientRect().left - xaxis._offset));
    });
    handle.addEventListener("pointerup", rest);
    handle.addEventListener("keydown", (event) => {
      const stride = band.step * (event.shiftKey ? 10 : 1);
      const speed = { ArrowLeft: band[key] - stride, ArrowRight: band[key] + stride, Home: band.least, End: band.most }[event.key];
      if (speed === undefined) return;
      event.preventDefault();
      held = key;
      move(key, speed);
      restSoon();
    });
    handle.addEventListener("blur", (event) => {
      if (event.relatedTarget) held = null; // none where the page's old parts went from under it
    });
  });
  drawing.querySelectorAll(".band-shade, .band-handle").forEach((old) => old.remove());
  drawing.append(shade, ...handles);
  place();
  if (held) handles[ENDS.findIndex(({ key }) => key === held)].focus({ preventScroll: true });
  return { place };
}
