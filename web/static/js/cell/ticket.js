// A ticket's page: the step buttons, setting a pull aside.
import { make } from "../dom.js";

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
