// A ticket's page: the step buttons, setting a pull aside, the results link with its code.
import { call, url } from "../api.js";
import { make } from "../dom.js";
import { bodyOf, clearProblems, showProblem } from "../forms.js";

const byId = (id) => document.getElementById(id);

// The pressed button says which step: it becomes the form's field before the form is sent.
document.addEventListener("click", (event) => {
  const step = event.target.closest("button[data-step]");
  if (step) {
    step.form.querySelector("input[name='state']")?.remove();
    step.form.append(make("input", { type: "hidden", name: "state", value: step.value }));
  }
  const aside = event.target.closest("[data-aside]");
  if (aside) {
    const dialog = byId("aside-dialog");
    dialog.querySelector("form").dataset.send = `POST /pulls/${aside.dataset.aside}/set-aside`;
    dialog.showModal();
    byId("aside-reason").focus();
  }
  if (event.target.closest("[data-close]")) event.target.closest("dialog").close();
});

const ticked = () => [...document.querySelectorAll("#compare-form input[name='pull_id']:checked")].map((box) => box.value);

async function showLink(answer) {
  byId("link-made").hidden = false;
  byId("link-url").value = answer.url;
  byId("link-open").href = answer.url;
  const drawn = await fetch(url("/qr"), {
    method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ text: answer.url }),
  });
  if (drawn.ok) {
    const code = new DOMParser().parseFromString(await drawn.text(), "image/svg+xml").documentElement;
    byId("link-code").replaceChildren(document.adoptNode(code));
  }
  byId("link-url").focus();
  byId("link-url").select();
}

document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form[data-link-of]");
  if (!form) return;
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  clearProblems(form);
  try {
    await showLink(await call("POST", `/tickets/${form.dataset.linkOf}/results-links`, { ...bodyOf(form), pull_ids: ticked() }));
  } catch (problem) {
    showProblem(form, problem);
  }
  button.disabled = false;
});
