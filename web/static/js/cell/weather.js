// The air while it is typed: vapour pressure, density and every standard's factor, from the service's own calculation.
import { call } from "../api.js";
import { make, settled } from "../dom.js";
import { bodyOf } from "../forms.js";

const form = document.getElementById("reading");
const words = document.querySelector("[data-air-words]");
const table = document.querySelector("[data-air-table]");

/** Where the figure was taken for the cell's own barometer: one press makes it the sea-level figure it looks like. */
function conversion() {
  const kind = document.getElementById("pressure_kind");
  if (kind.value === "altimeter_setting_kpa") return [];
  const button = make("button", { type: "button" }, "It is a sea-level figure: convert it");
  button.addEventListener("click", () => {
    kind.value = "altimeter_setting_kpa";
    look();
    kind.focus();
  });
  return [button];
}

function show(air) {
  words.textContent = `Vapour pressure ${air.vapour_pressure_kpa.toFixed(3)} kPa, dry pressure ${air.dry_pressure_kpa.toFixed(2)} kPa, density ${air.density_kg_m3.toFixed(4)} kg/m³, relative humidity ${air.relative_humidity_pct.toFixed(0)} %.`;
  const rows = Object.values(air.factors).map((one) =>
    make("tr", {}, make("th", { scope: "row" }, one.title), make("td", { class: "number" }, one.factor.toFixed(4)), make("td", {}, one.valid ? "" : "outside its own limits")));
  table.replaceChildren(
    ...(air.doubt ? [make("div", { class: "warn" }, make("p", {}, make("strong", {}, "Questioned: "), air.doubt), ...conversion())] : []),
    make("table", {}, make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "Standard"), make("th", { scope: "col", class: "number" }, "Factor"), make("th", { scope: "col" }, "Limits"))), make("tbody", {}, ...rows)),
    make("p", { class: "small" }, "For a naturally aspirated petrol engine; a car’s own engine decides on its page."),
  );
}

const look = settled(async () => {
  const { air_temperature_c, station_pressure_kpa, altimeter_setting_kpa, ...rest } = bodyOf(form);
  const asked = new URLSearchParams();
  const given = { air_temperature_c, station_pressure_kpa, altimeter_setting_kpa };
  for (const name of ["relative_humidity_pct", "dew_point_c", "wet_bulb_c"]) given[name] = rest[name];
  for (const [name, value] of Object.entries(given)) if (value !== undefined && value !== "") asked.set(name, value);
  if (asked.size < 3) return;
  asked.set("altitude_m", form.elements.cell_id.selectedOptions[0].dataset.altitude);
  try {
    show(await call("GET", `/air?${asked}`));
  } catch (problem) {
    words.textContent = problem.message;
    table.replaceChildren();
  }
}, 250);

if (form) {
  form.addEventListener("input", look);
  form.addEventListener("change", look);
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-correct]");
    if (!button) return;
    form.querySelector("input[name='supersedes_id']")?.remove();
    form.append(make("input", { type: "hidden", name: "supersedes_id", value: button.dataset.correct }));
    form.elements.cell_id.value = button.dataset.cell;
    form.elements.read_at.value = button.dataset.readAt;
    form.querySelector("button").textContent = "Note the correction down";
    form.elements.air_temperature_c.focus();
  });
}
