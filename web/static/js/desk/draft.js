// What was typed for a new ticket is still there when one comes back to it, until the ticket is open.
import { make } from "../dom.js";

const KEY = "pullbook-draft";
const byId = (id) => document.getElementById(id);
const ticket = byId("ticket-new");
const KEPT = "#customer-find, #customer-new input, #vehicle-new input:not([type=hidden]), #vehicle-new select, #when-find, #how-long, #asked, #cell_id, #booked_from, #booked_to";
const whose = () => document.querySelector(".who a")?.textContent ?? "";
const shown = (id) => !byId(id).hidden;
let open = false; // the ticket is: nothing more to keep

function now() {
  const customer = ticket.elements.customer_id.value;
  const more = byId("customer-picked");
  return {
    whose: whose(),
    customer: customer && { id: customer, full_name: more.querySelector("[data-name]").textContent, phone: more.querySelector("[data-more]").textContent },
    vehicleId: ticket.elements.vehicle_id.value,
    newCustomer: shown("customer-new"),
    newCar: shown("vehicle-section") && shown("vehicle-new"),
    items: [...document.querySelectorAll("#work-chosen input:checked")].map((one) => one.value),
    fields: Object.fromEntries([...document.querySelectorAll(KEPT)].map((one) => [one.id, one.type === "checkbox" ? one.checked : one.value])),
    exact: Object.fromEntries(["booked_from", "booked_to"].map((id) => [id, { ...byId(id).dataset }])),
  };
}

function anything(draft) {
  const typed = ["customer-find", "full_name", "make", "asked", "booked_from"].some((id) => draft.fields[id]?.trim());
  return Boolean(draft.customer || typed || draft.items.length);
}

function keep() {
  const draft = now();
  if (open || !anything(draft)) sessionStorage.removeItem(KEY);
  else sessionStorage.setItem(KEY, JSON.stringify(draft));
}

function restore(draft) {
  document.addEventListener("draft-fields", () => {
    for (const [id, value] of Object.entries(draft.fields)) {
      const field = byId(id);
      if (field?.type === "checkbox") field.checked = value;
      else if (field) field.value = value;
    }
    for (const [id, { exact, exactFor }] of Object.entries(draft.exact)) if (exact) Object.assign(byId(id).dataset, { exact, exactFor: exactFor ?? draft.fields[id] });
  }, { once: true });
  document.dispatchEvent(new CustomEvent("draft", { detail: draft }));
}

function offer(draft) {
  const note = byId("draft-note");
  const answer = (words, then) => {
    const button = make("button", { type: "button" }, words);
    button.addEventListener("click", () => {
      note.hidden = true;
      then();
    });
    return button;
  };
  note.replaceChildren(
    make("p", {}, `You had begun a ticket${draft.customer ? ` for ${draft.customer.full_name}` : ""}.`),
    make("p", { class: "row" }, answer("Go on with it", () => restore(draft)), answer("Leave it", () => sessionStorage.removeItem(KEY))));
  note.hidden = false;
}

// once it is open, coming back must not offer it again: neither by what the browser keeps of forms nor by a kept page
ticket.addEventListener("sent", () => {
  open = true;
  for (const field of document.querySelectorAll(KEPT)) if (field.type !== "checkbox" && field.tagName !== "SELECT") field.value = "";
});
addEventListener("pageshow", (event) => event.persisted && open && location.reload());
addEventListener("pagehide", keep);
document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" && keep());

const draft = JSON.parse(sessionStorage.getItem(KEY) ?? "null");
if (draft && draft.whose === whose()) {
  const came = performance.getEntriesByType("navigation")[0]?.type;
  if (came === "back_forward" || came === "reload") restore(draft);
  else offer(draft);
}
