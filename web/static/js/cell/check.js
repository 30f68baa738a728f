// The safety checklist at the car: every point ticked or a word why not, then signed.
import { call, url } from "../api.js";
import { clearProblems, showProblem } from "../forms.js";
import { withOffset } from "../times.js";

const form = document.getElementById("check-form");
const points = form ? [...form.querySelectorAll("[data-point]")] : [];
const tickOf = (point) => point.querySelector("input[type='checkbox']");
const wordOf = (point) => point.querySelector(".instead input");
const isSettled = (point) => tickOf(point).checked || wordOf(point).value.trim() !== "";

function count() {
  const open = points.filter((point) => !isSettled(point)).length;
  document.getElementById("check-count").textContent = open ? `${open} of ${points.length} points to go.` : "Every point is ticked or noted.";
}

form?.addEventListener("input", (event) => {
  event.target.closest("[data-point]")?.classList.remove("open-point");
  count();
});

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  clearProblems(form);
  const open = points.filter((point) => !isSettled(point));
  for (const point of points) point.classList.toggle("open-point", open.includes(point));
  if (open.length) {
    tickOf(open[0]).focus();
    return;
  }
  const paper = document.getElementById("check-paper").value;
  const body = {
    cell_id: document.getElementById("check-cell").value,
    checklist_id: form.dataset.list,
    points: points.map((point) => ({ done: tickOf(point).checked, note: wordOf(point).value.trim() })),
    note: document.getElementById("check-note").value.trim(),
    device_at: new Date().toISOString(),
    ...(paper ? { paper_at: withOffset(paper) } : {}),
  };
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    await call("POST", `/tickets/${form.dataset.ticket}/signings`, body);
    sessionStorage.setItem("pullbook-said", "Signed. What is pulled in this cell today is covered from now on.");
    location.assign(url(`/tickets/${form.dataset.ticket}`));
  } catch (problem) {
    button.disabled = false;
    showProblem(form, problem);
  }
});

if (form) count();
