// Say which column is what: rows from the file itself, quantities and units from the service, kept as a map by name.
import { call, url } from "../api.js";
import { make } from "../dom.js";
import { agreed } from "../foresee.js";
import { clearProblems, showProblem } from "../forms.js";

const byId = (id) => document.getElementById(id);
const { path, back, beside } = byId("mapper").dataset; // beside: a file joined to a pull, which needs no roller
const form = byId("map-form");
let quantities = [];
let rows = [];

const shown = (value) => (value === null ? "–" : String(Number(value.toPrecision(6))));

function unitOptions(select, quantity, wanted) {
  const units = quantities.find((one) => one.quantity === quantity)?.units ?? [];
  select.replaceChildren(...units.map((one) => make("option", { value: one.unit, selected: one.unit === wanted }, one.label)));
  if (units.length > 1 && !wanted) select.prepend(make("option", { value: "", selected: true }, "which unit?"));
  select.hidden = units.length === 0;
}

function says(row, choice) {
  const title = quantities.find((one) => one.quantity === row.quantity.value)?.title;
  if (!title || !choice?.inside_unit) {
    row.words.textContent = "";
    return;
  }
  const first = choice.first_values.slice(0, 4).map(shown).join("  ");
  row.words.textContent = `${title}: ${first} … ${choice.inside_unit}` +
    (choice.smallest === null ? "" : `, from ${shown(choice.smallest)} to ${shown(choice.largest)} ${choice.inside_unit}`);
}

// the service converts, so that what is shown is what will be calculated with; only the newest answer counts
let asked = 0;
let later = 0;
function tryMap() {
  clearTimeout(later);
  const mine = ++asked;
  later = setTimeout(async () => {
    let tried;
    try {
      tried = await call("POST", `${path}/columns/preview`, { columns: columnsUsed() });
    } catch (problem) {
      tried = { choices: [], misfit: problem.message };
    }
    if (mine !== asked) return;
    for (const row of rows) says(row, tried.choices.find((one) => one.header === row.column.header && row.quantity.value));
    byId("preview-words").textContent = words() || tried.misfit || `${used().length} columns are used. Nothing is missing that is needed.`;
  }, 150);
}

function rowOf(column, number) {
  const quantity = make("select", { "aria-label": `${column.header} is`, id: `quantity-${number}` }, make("option", { value: "" }, "not used"),
    ...quantities.map((one) => make("option", { value: one.quantity }, one.title)));
  const unit = make("select", { "aria-label": `${column.header} is in`, hidden: true });
  const words = make("span", { class: "small soft" });
  const row = { column, quantity, unit, words };
  quantity.addEventListener("change", () => {
    unitOptions(unit, quantity.value, "");
    review();
  });
  unit.addEventListener("change", review);
  row.element = make("tr", {}, make("th", { scope: "row" }, column.header, column.unit && !column.header.includes(column.unit) ? make("span", { class: "soft" }, `, ${column.unit}`) : null),
    make("td", {}, quantity), make("td", {}, unit),
    make("td", {}, make("span", { class: "first-values" }, column.first_values.slice(0, 6).map(shown).join("  ")), make("br"), words));
  return row;
}

function fill(choices) {
  for (const row of rows) {
    const choice = choices.find((one) => one.header === row.column.header);
    row.quantity.value = choice?.quantity ?? "";
    unitOptions(row.unit, row.quantity.value, choice?.unit);
  }
  review();
}

const used = () => rows.filter((row) => row.quantity.value);

const columnsUsed = () => used().map((row) => ({ header: row.column.header, quantity: row.quantity.value, unit: row.unit.value }));

function words() {
  const names = used().map((row) => row.quantity.value);
  const twice = names.filter((name, at) => names.indexOf(name) !== at);
  const open = [];
  if (!names.includes("time_s")) open.push("No column is time yet.");
  if (!beside && !names.some((name) => name.startsWith("roller_"))) open.push("No column is roller speed or pulses yet.");
  if (used().some((row) => !row.unit.value)) open.push("A unit is still open.");
  if (twice.length) open.push("Two columns are the same thing.");
  return open.join(" ");
}

function review() {
  rows.forEach((row) => says(row, null));
  byId("preview-words").textContent = words();
  tryMap();
}

function ask(questions) {
  byId("questions").replaceChildren(...(questions.length
    ? [make("div", { class: "note" }, make("p", {}, make("strong", {}, "What the file leaves open")), make("ul", {}, ...questions.map((one) => make("li", {}, one))))] : []));
}

async function load() {
  const [known, file] = await Promise.all([call("GET", "/channel-maps/quantities"), call("GET", `${path}/columns`)]);
  quantities = known.items;
  ask(file.questions);
  if (!file.columns.length) {
    byId("column-rows").replaceChildren(make("tr", {}, make("td", { colspan: 4 }, file.reason ?? "This file has no columns that could be read.")));
    form.hidden = true;
    return;
  }
  rows = file.columns.map(rowOf);
  byId("column-rows").replaceChildren(...rows.map((row) => row.element));
  fill(file.choices);
}

byId("take-map")?.addEventListener("click", async () => {
  const preview = await call("GET", `${path}/columns?channel_map_id=${byId("channel_map_id").value}`);
  fill(preview.choices);
  ask(preview.misfit ? [preview.misfit] : []);
});

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  clearProblems(form);
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    const map = await call("POST", "/channel-maps", { name: form.elements.name.value.trim(), columns: columnsUsed(), beside_a_pull: Boolean(beside) });
    const chosen = { channel_map_id: map.id };
    if (!beside && !(await agreed(`${path}/channel-map/foreseen`, chosen))) {
      sessionStorage.setItem("pullbook-said", "The map is kept; this pull is read as it was.");
      location.assign(url(back));
      return;
    }
    await call("PUT", `${path}/channel-map`, chosen);
    location.assign(url(back));
  } catch (problem) {
    button.disabled = false;
    showProblem(form, problem);
  }
});

load().catch((problem) => ask([problem.message]));
