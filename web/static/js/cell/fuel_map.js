// Saving the cells of the fuel map that is shown under a name; the page then comes again with them chosen.
import { call } from "../api.js";
import { clearProblems, showProblem } from "../forms.js";

const form = document.getElementById("save-layout");
const numbers = (text) => text.split(" ").filter(Boolean).map(Number);

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  clearProblems(form);
  const { axis, speeds, loads, minimum } = form.dataset;
  const body = {
    name: form.elements.name.value,
    load_axis: axis,
    speed_edges_rpm: numbers(speeds),
    load_edges: numbers(loads),
    minimum_time_s: Number(minimum),
  };
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    const saved = await call("POST", "/fuel-map-layouts", body);
    const address = new URL(location.href);
    for (const name of ["speed_edges", "load_edges", "load_axis", "minimum_time_s"]) address.searchParams.delete(name);
    address.searchParams.set("layout_id", saved.id);
    sessionStorage.setItem("pullbook-said", `Saved as ${saved.name}.`);
    location.assign(address);
  } catch (problem) {
    button.disabled = false;
    if (!problem.problems) throw problem;
    showProblem(form, problem);
  }
});
