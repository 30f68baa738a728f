// The checklist written anew: each line of the field is a point.
import { call, url } from "../api.js";
import { clearProblems, showProblem } from "../forms.js";

document.getElementById("list-form")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  const points = form.elements.points.value.split("\n").map((line) => line.trim()).filter(Boolean);
  clearProblems(form);
  try {
    await call("POST", "/checklists", { points, replaces: Number(form.elements.replaces.value) });
    location.assign(url("/checklist"));
  } catch (problem) {
    showProblem(form, problem);
  }
});
