// Any <form data-send="POST /path"> is sent to the API as JSON, and a refusal is shown beside the fields it names.
//
// data-then      "reload", a page's path ("/tickets/{id}"), or absent: only the event "sent" follows, with the answer
// data-said      with "reload": what stands under the heading once the page has come again
// data-as        on a field: "number", "whole", "hundredths" (12.50 → 1250), "thousandths", "time" (wall time of the shop),
//                "flag", "list"
// data-if-empty  on a field: "null" sends null, "keep" sends ""; otherwise an empty number, time or choice is left out
// data-offset, data-factor  on a field, or on the chosen option of the <select> that data-unit-from names: a number typed in
//                another unit is sent as (typed + offset) * factor
// data-name-from on a field: the id of a <select> whose value is the field's name ("relative_humidity_pct")
import { call, url } from "./api.js";
import { make } from "./dom.js";
import { withOffset } from "./times.js";

const fieldsOf = (form) => [...form.elements].filter((field) => (field.name || field.dataset.nameFrom) && !field.disabled);
const nameOf = (field) => (field.dataset.nameFrom ? document.getElementById(field.dataset.nameFrom).value : field.name);

/** A typed number in the unit that the service keeps. */
function kept(field, number) {
  const { offset = "0", factor = "1" } = (field.dataset.unitFrom ? document.getElementById(field.dataset.unitFrom).selectedOptions[0] : field).dataset;
  return Number(((number + Number(offset)) * Number(factor)).toPrecision(12));
}

function valueOf(field) {
  const text = field.value.trim();
  switch (field.dataset.as) {
    case "number":
    case "whole":
    case "hundredths":
    case "thousandths": {
      const number = Number(text.replace(/[\s\u202f]/g, "").replace(",", ".").replace("−", "-"));
      if (!Number.isFinite(number)) return text; // the service says what would do
      const times = { hundredths: 100, thousandths: 1000 }[field.dataset.as];
      return times ? Math.round(number * times) : kept(field, number);
    }
    case "time": // an instant that the clock alone cannot tell, in the night it goes back, is kept until it is typed over
      if (field.dataset.exact && text === (field.dataset.exactFor ?? field.defaultValue)) return field.dataset.exact;
      return withOffset(text);
    default:
      return field.type === "password" ? field.value : text;
  }
}

/** A form's fields as a JSON body. */
export function bodyOf(form) {
  const body = {};
  for (const field of fieldsOf(form)) {
    const name = nameOf(field);
    if (field.dataset.as === "list") {
      body[name] ??= [];
      if (field.checked) body[name].push(field.value);
    } else if (field.dataset.as === "flag") {
      body[name] = field.checked;
    } else if (field.type === "radio") {
      if (field.checked) body[name] = field.value;
    } else if (field.value.trim() === "") {
      const typed = field.dataset.as || field.tagName === "SELECT";
      if (field.dataset.ifEmpty === "null") body[name] = null;
      else if (!typed || field.dataset.ifEmpty === "keep") body[name] = "";
    } else {
      body[name] = valueOf(field);
    }
  }
  return body;
}

export function clearProblems(form) {
  form.querySelectorAll(".field-problem").forEach((said) => said.remove());
  form.querySelectorAll("[aria-invalid]").forEach((field) => {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  });
  form.querySelector(".form-problem")?.replaceChildren();
}

function place(form) {
  let said = form.querySelector(".form-problem");
  if (!said) {
    said = make("div", { class: "form-problem bad", role: "alert" });
    form.prepend(said);
  }
  return said;
}

/** Show a Problem in a form: each named field gets its word, the rest stands on top. Nothing typed is touched. */
export function showProblem(form, problem) {
  clearProblems(form);
  const fields = fieldsOf(form);
  const homeless = [];
  let first = null;
  for (const [number, part] of (problem.problems ?? []).entries()) {
    const wanted = String(part.field).split(".").pop();
    const field = fields.find((one) => nameOf(one) === wanted) ?? fields.find((one) => part.field.startsWith(nameOf(one) + "."));
    if (!field) {
      homeless.push(`${part.field}: ${part.would_do}`);
      continue;
    }
    const id = `problem-${number}-${wanted}`;
    (field.closest(".field") ?? field.parentElement).append(make("span", { class: "field-problem", id }, part.would_do));
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", id);
    first ??= field;
  }
  const words = [make("p", {}, problem.message)];
  if (homeless.length && !homeless.every((line) => problem.message.includes(line))) words.push(make("p", {}, homeless.join("; ")));
  if (problem.status === 401) words.push(make("p", {}, make("a", { href: url("/sign-in"), target: "_blank" }, "Sign in on a new tab"), ", then send this again."));
  if (problem.status === 409 && form.elements.version) words.push(make("p", {}, "Copy what you need, then ", make("a", { href: location.href }, "load the page as it is now"), "."));
  if (!first || homeless.length || problem.status === 409) place(form).replaceChildren(...words);
  (first ?? place(form)).focus?.();
}

const sending = new WeakSet(); // however often it is tapped, a form is sent once at a time

async function submit(form) {
  if (sending.has(form)) return;
  sending.add(form);
  try {
    await send(form);
  } finally {
    sending.delete(form);
  }
}

async function send(form) {
  const [method, path] = form.dataset.send.split(" ");
  const buttons = form.querySelectorAll("button:not([type='button'])");
  clearProblems(form);
  buttons.forEach((button) => (button.disabled = true));
  try {
    const answer = await call(method, path, method === "DELETE" ? undefined : bodyOf(form));
    form.dispatchEvent(new CustomEvent("sent", { detail: answer, bubbles: true }));
    const then = form.dataset.then;
    if (then === "reload") {
      if (form.dataset.said) sessionStorage.setItem("pullbook-said", form.dataset.said);
      location.reload();
    } else if (then) location.assign(url(then.replace(/\{(\w+)\}/g, (_, key) => encodeURIComponent(answer[key]))));
    else buttons.forEach((button) => (button.disabled = false));
  } catch (problem) {
    buttons.forEach((button) => (button.disabled = false));
    if (!(problem.problems)) throw problem;
    showProblem(form, problem);
    form.dispatchEvent(new CustomEvent("refused", { detail: problem, bubbles: true }));
  }
}

// what a form wanted said after the page came anew, once
const said = sessionStorage.getItem("pullbook-said");
if (said) {
  sessionStorage.removeItem("pullbook-said");
  const heading = document.querySelector("main h1");
  (heading?.closest(".row") ?? heading)?.after(make("p", { class: "good", role: "status" }, said));
}

// a page that comes back as it was left has its buttons as they were: they wait for an answer that came long ago
window.addEventListener("pageshow", (event) => {
  if (event.persisted) document.querySelectorAll("form[data-send] button:disabled").forEach((button) => (button.disabled = false));
});

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-send]");
  if (!form || event.defaultPrevented) return;
  event.preventDefault();
  submit(form);
});
