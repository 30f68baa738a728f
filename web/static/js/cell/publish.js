// Publishing: the form's own button previews; this one makes the link and leads to it.
import { call, url } from "../api.js";
import { clearProblems, showProblem } from "../forms.js";

const form = document.getElementById("publish-form");
const numberOf = (text) => {
  const plain = text.replace(/[\s\u202f]/g, "").replace(",", ".");
  return plain === "" ? null : Number.isFinite(Number(plain)) ? Number(plain) : text; // the service says what would do
};

function asked() {
  const typed = new FormData(form);
  const text = (name) => String(typed.get(name) ?? "").trim();
  return {
    pull_ids: typed.getAll("pull_id"),
    standard: text("standard"),
    band_low_rpm: numberOf(text("band_low_rpm")),
    band_high_rpm: numberOf(text("band_high_rpm")),
    units: { power: text("power"), torque: text("torque"), pressure: text("pressure") },
    language: text("language") || "en",
    note: text("note"),
    days: numberOf(text("days")),
    pin: form.querySelector("#pin").value.trim(),
    replaces_id: text("replaces_id") || null,
  };
}

form?.querySelector("[data-publish]").addEventListener("click", async (event) => {
  const button = event.currentTarget;
  button.disabled = true;
  clearProblems(form);
  try {
    const made = await call("POST", `/tickets/${form.dataset.ticket}/results-links`, asked());
    location.assign(url(`/links/${made.id}`));
  } catch (problem) {
    button.disabled = false;
    if (!problem.problems) throw problem;
    showProblem(form, problem);
  }
});
