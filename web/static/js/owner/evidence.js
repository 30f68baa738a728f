// Evidence for a calibration: a run goes as the file it is, weights as the lines that somebody wrote down.
import { call, sendFile } from "../api.js";
import { showProblem, clearProblems } from "../forms.js";
import { withOffset } from "../times.js";

const number = (text) => {
  const value = Number(text.trim().replace(",", ".").replace("−", "-"));
  return text.trim() !== "" && Number.isFinite(value) ? value : null;
};
const KINDS = { disc: "known_mass", hung: "known_mass" };
const SAID_BESIDE = ["torque_nm", "torque_u_nm", "disc_inertia_kg_m2", "disc_inertia_u_kg_m2", "hung_mass_kg", "hung_mass_u_kg", "hung_radius_m", "hung_radius_u_m"];

const run = document.getElementById("file-evidence");
const weights = document.getElementById("enter-weights");

/** Only what belongs to the chosen kind is shown and sent. */
function showKind() {
  run.querySelectorAll("[data-kind]").forEach((part) => {
    part.hidden = part.dataset.kind !== run.elements.kind.value;
    part.querySelectorAll("input").forEach((field) => (field.disabled = part.hidden));
  });
}

async function send(form, work) {
  const button = form.querySelector("button");
  clearProblems(form);
  button.disabled = true;
  try {
    const kept = await work();
    const said = kept.failure ? `Kept as it came, but it says nothing yet: ${kept.failure}` : "Kept. Tick it to see what it comes to.";
    sessionStorage.setItem("pullbook-said", said);
    location.reload();
  } catch (problem) {
    button.disabled = false;
    if (!problem.problems) throw problem;
    showProblem(form, problem);
  }
}

function address() {
  const { kind, taken_at, file, note } = run.elements;
  const query = new URLSearchParams({ kind: KINDS[kind.value] ?? kind.value, taken_at: withOffset(taken_at.value), file_name: file.files[0].name, note: note.value });
  for (const name of SAID_BESIDE) {
    const field = run.elements[name];
    if (!field.disabled && field.value.trim()) query.set(name, number(field.value) ?? field.value);
  }
  return `/cells/${run.dataset.cell}/calibration-evidence?${query}`;
}

/** "20 67.2 up" as a step; null where it cannot be read. */
function step(line) {
  const [mass, reading, way, ...more] = line.trim().split(/[\s;]+/).filter(Boolean);
  const rising = /^(up|u|\+)$/i.test(way ?? "") ? true : /^(down|d|-)$/i.test(way ?? "") ? false : null;
  const read = { mass_kg: number(mass ?? ""), reading: number(reading ?? ""), rising };
  return more.length || Object.values(read).includes(null) ? null : read;
}

/** Every line as a step; the first that cannot be read is named, and all of them stay in the field. */
function stepsOf(text) {
  return text.split("\n").filter((line) => line.trim()).map((line) => {
    const message = `“${line.trim()}” cannot be read: a weight in kg, what the cell says, and up or down, as in 20 67.2 up.`;
    const read = step(line);
    if (!read) throw Object.assign(new Error(message), { problems: [{ field: "steps", value: line, would_do: message }] });
    return read;
  });
}

function entered() {
  const { taken_at, arm_m, arm_u_m, readings_are, latitude_deg, steps, note } = weights.elements;
  const body = { kind: "brake_weights", taken_at: withOffset(taken_at.value), readings_are: readings_are.value, note: note.value, steps: stepsOf(steps.value) };
  for (const field of [arm_m, arm_u_m, latitude_deg]) if (field.value.trim()) body[field.name] = number(field.value) ?? field.value;
  return body;
}

if (run) {
  run.elements.kind.addEventListener("change", showKind);
  showKind();
  run.addEventListener("submit", (event) => {
    event.preventDefault();
    send(run, async () => (await sendFile(address(), run.elements.file.files[0], () => {})).body);
  });
}
weights?.addEventListener("submit", (event) => {
  event.preventDefault();
  send(weights, async () => call("POST", `/cells/${weights.dataset.cell}/calibration-evidence/entered`, entered()));
});
